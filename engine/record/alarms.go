package record

import (
	"slices"
	"sort"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/latch"
)

// Alarm is the one of that key, nil where none is kept. It is not to be changed.
func (r *Record) Alarm(k alarm.Key) *alarm.Alarm {
	if i, ok := r.alarmAt(k); ok {
		return &r.Alarms[i]
	}
	return nil
}

// alarmAt is where the alarm of that key stands, or would. It holds all that was last
// said of it, and a search by value copies each that it looks at.
func (r *Record) alarmAt(k alarm.Key) (int, bool) {
	i := sort.Search(len(r.Alarms), func(i int) bool { return r.Alarms[i].Compare(k) >= 0 })
	return i, i < len(r.Alarms) && r.Alarms[i].Key == k
}

// SetAlarm puts a into the record, or takes it out where nothing of it stands.
func (r *Record) SetAlarm(a alarm.Alarm) {
	i, found := r.alarmAt(a.Key)
	list := slices.Clone(r.Alarms)
	switch {
	case found && a.Gone():
		list = slices.Delete(list, i, i+1)
	case found:
		list[i] = a
	case !a.Gone():
		list = slices.Insert(list, i, a)
	}
	r.Alarms = list
}

// LatchOf returns the latch of that key, a new one where there is none.
func (r *Record) LatchOf(k alarm.Key) (latch.Latch, bool) {
	i, ok := r.LatchAt(k)
	if !ok {
		return latch.Latch{Key: k}, false
	}
	return r.Latches[i], true
}

// LatchAt is where the latch of that key stands, or would. A latch is large, and a
// search by value copies each that it looks at.
func (r *Record) LatchAt(k alarm.Key) (int, bool) {
	i := sort.Search(len(r.Latches), func(i int) bool { return r.Latches[i].Compare(k) >= 0 })
	return i, i < len(r.Latches) && r.Latches[i].Key == k
}

// Standings are the alarms that are not normal, as a listing shows them.
func (r *Record) Standings() []alarm.Listed {
	if r.Registered() == nil {
		return nil
	}
	var out []alarm.Listed
	for i := range r.Alarms {
		out = append(out, *r.ListedAs(&r.Alarms[i]))
	}
	return out
}

// ListedAs is one of the alarms as a listing shows it. The vehicle must be registered.
func (r *Record) ListedAs(a *alarm.Alarm) *alarm.Listed {
	reg := r.Registered()
	s := alarm.Listed{Since: time.Unix(a.Since, 0).UTC(), Name: reg.Name, Tags: reg.Tags, People: reg.People, Transition: a.Last}
	s.Vehicle, s.First, s.Reads = r.Shown(), r.First(), reg.Reads
	s.To, s.Standing = a.StageName(a.Stage), a.Standing(r.Out)
	if a.ShelvedUntil != 0 {
		s.ShelvedUntil = time.Unix(a.ShelvedUntil, 0).UTC()
	}
	return &s
}

// NoteAnswer notes what a person said, in order of the log.
func (r *Record) NoteAnswer(s Stamp) {
	r.Answers = latest(append(slices.Clip(r.Answers), s), keptAnswers)
}

// PutOff notes that a task may wait.
func (r *Record) PutOff(p Postponed) { r.Postponed = latest(insert(r.Postponed, p), keptPostponed) }

// SetOut takes the vehicle out of service, or back, by an answer at a moment in Unix
// seconds.
func (r *Record) SetOut(out bool, at int64, by event.ID) {
	r.Out, r.InOut, r.OutBy = out, latest(append(slices.Clone(r.InOut), at), keptInOut), &by
}

// TakeBackOut takes back the answer that last took the vehicle out of service, or back, as
// if it had never been given; false where that was another one.
func (r *Record) TakeBackOut(by event.ID) bool {
	if r.OutBy == nil || *r.OutBy != by {
		return false
	}
	r.Out, r.InOut, r.OutBy = !r.Out, r.InOut[:len(r.InOut)-1:len(r.InOut)-1], nil
	return true
}
