package engine

import (
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/latch"
)

// judge brings everything that stands on this vehicle up to date with the event.
func (f *fold) judge() {
	r := f.Rec
	reg := r.Registered()
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
	if f.ev.Kind == event.AnswerEvent && !f.change.Fact && !f.change.All {
		return // what was said about an alarm changes no fact
	}
	f.whole = true
	a := f.Applied()
	if f.ev.Kind == event.BookEvent {
		f.carryOverAll()
	}
	for _, ar := range a.Rules.Rules {
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
func (f *fold) unclocked() bool { return f.When.Unix() <= 0 }

// judgeWhileOut lets the work that a service lists settle its tasks; everything
// else waits until the vehicle is in service again.
func (f *fold) judgeWhileOut() {
	if s := f.change.Service; s != nil {
		f.judgeTasks()
		f.judgeFollowUps()
		f.moves = slices.DeleteFunc(f.moves, func(m alarmMove) bool { return !f.Lists(s, m.Rule) })
	}
}

func (f *fold) withdrawAll(why string) {
	for _, a := range f.Rec.Alarms {
		f.withdraw(a, why)
	}
}

// dropStrangers withdraws the alarms, and forgets the latches, of rules, tasks,
// components and follow-ups that are gone.
func (f *fold) dropStrangers() {
	a := f.Applied()
	stands := map[alarm.Key]bool{}
	for _, ar := range a.Rules.Rules {
		stands[f.Key(ar.Rule.Name, ar.Component)] = true
	}
	f.Rec.Latches = slices.DeleteFunc(slices.Clone(f.Rec.Latches), func(l latch.Latch) bool { return !stands[l.Key] })
	for _, m := range f.moves {
		stands[m.Key] = true
	}
	for _, al := range f.Rec.Alarms {
		if !stands[al.Key] {
			f.withdraw(al, f.whyGone(al))
		}
	}
}

// dropFollowUps withdraws the follow-ups that nothing opens any more, as when a
// corrected report takes back what the first one raised.
func (f *fold) dropFollowUps() {
	asked := map[alarm.Key]bool{}
	for _, m := range f.moves {
		asked[m.Key] = true
	}
	for _, a := range f.Rec.Alarms {
		if a.Task && a.Stage > 0 && !asked[a.Key] {
			f.withdraw(a, "what opened it was taken back")
		}
	}
}

func (f *fold) whyGone(a alarm.Alarm) string {
	switch {
	case f.change.TookOut:
		return "what it rested on was taken back"
	case f.ev.Kind == event.BookEvent:
		return "the rule book in force no longer has it for this vehicle"
	}
	return "it no longer applies to this vehicle"
}

// carryOver moves an alarm and its latch to the rule's new name, once.
func (f *fold) carryOver(was, name, component string) {
	if was == "" {
		return
	}
	old := f.Rec.Alarm(alarm.Key{Rule: was, Component: component})
	if old == nil || f.Rec.Alarm(alarm.Key{Rule: name, Component: component}) != nil {
		return
	}
	a := *old
	f.Rec.Alarms = slices.DeleteFunc(slices.Clone(f.Rec.Alarms), func(o alarm.Alarm) bool { return o.Key == a.Key })
	a.Rule, a.Last.Rule = name, name
	f.Rec.SetAlarm(a)
}

func (f *fold) carryOverAll() {
	a := f.Applied()
	for _, ar := range a.Rules.Rules {
		f.carryOver(ar.Rule.Was, ar.Rule.Name, f.ComponentName(ar.Component))
	}
	for _, at := range a.Rules.Tasks {
		f.carryOver(at.Task.Was, at.Task.Name, f.ComponentName(at.Component))
	}
}
