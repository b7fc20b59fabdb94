package engine

import (
	"slices"
	"sort"
	"time"
)

// alarm returns the index of the alarm of that key, or -1.
func (r *Record) alarm(k AlarmKey) int {
	i, ok := r.alarmAt(k)
	if !ok {
		return -1
	}
	return i
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
