package engine

import "slices"

// Reconcile compares what was said last of an alarm with how its record stands
// now, and gives the transition that leads from the one to the other; false where
// nothing is to be said. A program that folds the same events otherwise than the
// one before it needs this: what it would have said in between was kept back.
func (p *Partition) Reconcile(said Transition) (Transition, bool) {
	now := Alarm{AlarmKey: AlarmKey{said.Rule, said.Component}, Task: said.Task, Acked: true, Last: said}
	there, out := false, false
	if r := p.record(said.Vehicle); r != nil {
		out = r.Out
		if a := r.alarm(now.AlarmKey); a != nil {
			now, there = *a, true
		}
	}
	from := max(0, slices.Index(stageWords(said.Task), said.To))
	what := reconcileWord(said.Standing, now.standing(out), from, now.Stage, there)
	if what == "" {
		return Transition{}, false
	}
	t := now.Last
	t.Transition, t.Reconciled, t.Task = what, true, now.Task
	t.From, t.To, t.Standing = said.To, now.stageName(now.Stage), now.standing(out)
	t.Shelved, t.Book = now.ShelvedUntil != 0, ""
	if p.law.Book != nil {
		t.Book = p.law.Book.Hash
	}
	if !there {
		t.Message, t.Evidence, t.Advise, t.FollowUps = "the same events are judged otherwise now", nil, "", nil
	}
	for _, at := range [...]Transition{said, now.Last} {
		if at.Time.After(t.Time) {
			t.Time = at.Time
		}
	}
	if p.law.Now.After(t.Time) {
		t.Time = p.law.Now
	}
	return t, true
}
