package engine

import "slices"

// judge brings everything that stands on this vehicle up to date with the event.
func (f *fold) judge() {
	r := f.rec
	reg := r.registered()
	switch {
	case reg == nil || f.Book == nil:
		f.withdrawAll("the vehicle is not registered any more")
		return
	case reg.Retired:
		f.withdrawAll("the vehicle is retired")
		r.Latches = nil
		return
	case r.Out:
		f.judgeWhileOut()
		return
	case f.unclocked():
		return
	}
	if f.ev.Kind == AnswerEvent && !f.change.Fact && !f.change.All {
		return // what was said about an alarm changes no fact
	}
	f.whole = true
	a := f.applied()
	if f.ev.Kind == BookEvent {
		f.carryOverAll()
	}
	for _, ar := range a.rules.Rules {
		f.judgeRule(ar)
	}
	f.judgeMeters()
	f.judgeDisowned()
	f.judgeTasks()
	f.judgeFollowUps()
	switch {
	case f.change.All:
		f.dropStrangers()
	case f.change.Sample != "" || f.change.Service != nil:
		f.dropFollowUps()
	}
}

// unclocked: no event has told the time yet, as where the clock follows the events
// and only the register was read. What is due from the first judgement on would be
// dated half a century back, so the first tick or event makes that judgement.
func (f *fold) unclocked() bool { return f.when.Unix() <= 0 }

// judgeWhileOut lets the work that a service lists settle its tasks; everything
// else waits until the vehicle is in service again.
func (f *fold) judgeWhileOut() {
	if s := f.change.Service; s != nil {
		f.judgeTasks()
		f.judgeFollowUps()
		f.moves = slices.DeleteFunc(f.moves, func(m alarmMove) bool { return !f.lists(s, m.Rule) })
	}
}

func (f *fold) withdrawAll(why string) {
	for _, a := range f.rec.Alarms {
		f.withdraw(a, why)
	}
}

// dropStrangers withdraws the alarms, and forgets the latches, of rules, tasks,
// components and follow-ups that are gone.
func (f *fold) dropStrangers() {
	a := f.applied()
	stands := map[AlarmKey]bool{}
	for _, ar := range a.rules.Rules {
		stands[AlarmKey{ar.Rule.Name, f.componentName(ar.Component)}] = true
	}
	f.rec.Latches = slices.DeleteFunc(slices.Clone(f.rec.Latches), func(l Latch) bool { return !stands[l.AlarmKey] })
	for _, m := range f.moves {
		stands[m.AlarmKey] = true
	}
	for _, al := range f.rec.Alarms {
		if !stands[al.AlarmKey] {
			f.withdraw(al, f.whyGone(al))
		}
	}
}

// dropFollowUps withdraws the follow-ups that nothing opens any more, as when a
// corrected report takes back what the first one raised.
func (f *fold) dropFollowUps() {
	asked := map[AlarmKey]bool{}
	for _, m := range f.moves {
		asked[m.AlarmKey] = true
	}
	for _, a := range f.rec.Alarms {
		if a.Task && a.Stage > 0 && !asked[a.AlarmKey] {
			f.withdraw(a, "what opened it was taken back")
		}
	}
}

func (f *fold) whyGone(a Alarm) string {
	switch {
	case f.change.TookOut:
		return "what it rested on was taken back"
	case f.ev.Kind == BookEvent:
		return "the rule book in force no longer has it for this vehicle"
	}
	return "it no longer applies to this vehicle"
}

// carryOver moves an alarm and its latch to the rule's new name, once.
func (f *fold) carryOver(was, name, component string) {
	if was == "" {
		return
	}
	old := f.rec.alarm(AlarmKey{was, component})
	if old == nil || f.rec.alarm(AlarmKey{name, component}) != nil {
		return
	}
	a := *old
	f.rec.Alarms = slices.DeleteFunc(slices.Clone(f.rec.Alarms), func(o Alarm) bool { return o.AlarmKey == a.AlarmKey })
	a.Rule, a.Last.Rule = name, name
	f.rec.setAlarm(a)
}

func (f *fold) carryOverAll() {
	a := f.applied()
	for _, ar := range a.rules.Rules {
		f.carryOver(ar.Rule.Was, ar.Rule.Name, f.componentName(ar.Component))
	}
	for _, at := range a.rules.Tasks {
		f.carryOver(at.Task.Was, at.Task.Name, f.componentName(at.Component))
	}
}
