package engine

import (
	"slices"

	"telltale/engine/alarm"
)

// Reconcile compares what was said last of an alarm with how its record stands
// now, and gives the transition that leads from the one to the other; false where
// nothing is to be said. A program that folds the same events otherwise than the
// one before it needs this: what it would have said in between was kept back.
func (p *Partition) Reconcile(said alarm.Transition) (alarm.Transition, bool) {
	now := alarm.Alarm{Key: alarm.Key{Rule: said.Rule, Component: said.Component}, Task: said.Task, Acked: true, Last: said}
	there, out := false, false
	if r := p.record(said.Vehicle); r != nil {
		out = r.Out
		if a := r.Alarm(now.Key); a != nil {
			now, there = *a, true
		}
	}
	from := max(0, slices.Index(alarm.StageWords(said.Task), said.To))
	what := alarm.Difference(said.Standing, now.Standing(out), from, now.Stage, there)
	if what == "" {
		return alarm.Transition{}, false
	}
	t := now.Last
	t.Transition, t.Reconciled, t.Task = what, true, now.Task
	t.From, t.To, t.Standing = said.To, now.StageName(now.Stage), now.Standing(out)
	t.Shelved, t.Book = now.ShelvedUntil != 0, ""
	if p.law.Book != nil {
		t.Book = p.law.Book.Hash
	}
	if !there {
		t.Message, t.Evidence, t.Advise, t.FollowUps = "the same events are judged otherwise now", nil, "", nil
	}
	for _, at := range [...]alarm.Transition{said, now.Last} {
		if at.Time.After(t.Time) {
			t.Time = at.Time
		}
	}
	if p.law.Now.After(t.Time) {
		t.Time = p.law.Now
	}
	return t, true
}
