package engine

import (
	"slices"
	"sort"
	"time"
)

// alarm is the one of that key, nil where none is kept. It is not to be changed.
func (r *Record) alarm(k AlarmKey) *Alarm {
	if i, ok := r.alarmAt(k); ok {
		return &r.Alarms[i]
	}
	return nil
}

// alarmAt is where the alarm of that key stands, or would. It holds all that was last
// said of it, and a search by value copies each that it looks at.
func (r *Record) alarmAt(k AlarmKey) (int, bool) {
	i := sort.Search(len(r.Alarms), func(i int) bool { return r.Alarms[i].compare(k) >= 0 })
	return i, i < len(r.Alarms) && r.Alarms[i].AlarmKey == k
}

// setAlarm puts a into the record, or takes it out where nothing of it stands.
func (r *Record) setAlarm(a Alarm) {
	i, found := r.alarmAt(a.AlarmKey)
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

// latch returns the latch of that key, a new one where there is none.
func (r *Record) latch(k AlarmKey) (Latch, bool) {
	i, ok := r.latchAt(k)
	if !ok {
		return Latch{AlarmKey: k}, false
	}
	return r.Latches[i], true
}

// latchAt is where the latch of that key stands, or would. A latch is large, and a
// search by value copies each that it looks at.
func (r *Record) latchAt(k AlarmKey) (int, bool) {
	i := sort.Search(len(r.Latches), func(i int) bool { return r.Latches[i].compare(k) >= 0 })
	return i, i < len(r.Latches) && r.Latches[i].AlarmKey == k
}

func (r *Record) standings() []Standing {
	reg := r.registered()
	if reg == nil {
		return nil
	}
	var out []Standing
	for _, a := range r.Alarms {
		s := Standing{Since: time.Unix(a.Since, 0).UTC(), Name: reg.Name, Tags: reg.Tags, People: reg.People, Transition: a.Last}
		s.To, s.Standing = a.stageName(a.Stage), a.standing(r.Out)
		if a.ShelvedUntil != 0 {
			s.ShelvedUntil = time.Unix(a.ShelvedUntil, 0).UTC()
		}
		out = append(out, s)
	}
	return out
}

// noteAnswer notes what a person said, in order of the log.
func (r *Record) noteAnswer(s Stamp) {
	r.Answers = latest(append(slices.Clip(r.Answers), s), keptAnswers)
}

// putOff notes that a task may wait.
func (r *Record) putOff(p Postponed) { r.Postponed = latest(insert(r.Postponed, p), keptPostponed) }

// setOut takes the vehicle out of service, or back, at a moment in Unix seconds.
func (r *Record) setOut(out bool, at int64) {
	r.Out, r.InOut = out, latest(append(slices.Clone(r.InOut), at), keptInOut)
}
