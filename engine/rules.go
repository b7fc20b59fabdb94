package engine

import (
	"math"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
)

// anew reports whether a rule on that component must walk its history again: a
// fact came before something that was judged.
func (f *fold) anew(comp int) bool {
	if f.change.All {
		return true
	}
	if !f.change.Fact || comp < 0 {
		return f.change.Fact && f.Rec.LateFact(&f.ev)
	}
	t := f.Timeline(comp)
	i := t.LastSample()
	if f.change.Again && f.change.Sample == f.ComponentName(comp) {
		return true
	}
	if i < 0 || t.Steps[i].Sample.ID == f.ev.ID {
		return false
	}
	return f.change.Place.Compare(t.Steps[i].Place) <= 0
}

// newJudgement is the place at which the event has a rule judged, if it does and
// the rule need not walk again.
func (f *fold) newJudgement(ar rules.AppliedRule) (judge.Judgement, bool) {
	r, c := ar.Rule, f.change
	switch {
	case f.ev.Kind == event.TickEvent && r.On&rules.OnClock != 0:
		return judge.Judgement{Before: record.LastPlace, At: math.MaxInt64}, true
	case !c.Fact:
		return judge.Judgement{}, false
	case c.Sample != "" && r.On&rules.OnSample != 0 && c.Sample == f.ComponentName(ar.Component):
		t := f.Timeline(ar.Component)
		if i := t.LastSample(); i >= 0 && t.Steps[i].Sample.ID == f.ev.ID {
			return judge.Judgement{Before: t.Steps[i].Place, At: max(t.Steps[i].At, f.ev.Time.UnixNano()), ID: f.ev.ID}, true
		}
	case c.Reading && r.On&rules.OnReading != 0 && f.Rec.AcceptedReading(&f.ev),
		c.Service != nil && r.On&rules.OnService != 0:
		return judge.Judgement{Before: record.PlaceOf(f.ev.Time.UnixNano(), event.ServiceEvent), At: f.ev.Time.UnixNano(), ID: f.ev.ID}, true
	}
	return judge.Judgement{}, false
}

// judgeRule brings one rule up to date after the event and turns its alarm.
func (f *fold) judgeRule(ar rules.AppliedRule) {
	k := alarm.Key{Rule: ar.Rule.Name, Component: f.ComponentName(ar.Component)}
	l, had := f.Rec.LatchOf(k)
	var last judge.Judgement
	switch at, now := f.newJudgement(ar); {
	case f.anew(ar.Component) || !had:
		before := l
		l, last = f.Walk(ar.Rule, ar.Component, k)
		l.KeepOpenings(ar.Rule, &before)
	case now:
		if f.Step(ar.Rule, ar.Component, &l, at) {
			last = at
		}
	default:
		return
	}
	f.setLatch(l)
	if len(l.Missing) > 0 {
		f.notJudged(k, l)
	}
	if a := f.Rec.Alarm(k); a != nil && a.Stage != l.Stage || a == nil && l.Stage > 0 {
		f.moveRule(ar, l, last)
	}
}

// moveRule asks for the alarm's move to the latch's stage. It is apart so that a
// latch is copied to where closures live only when an alarm moves.
func (f *fold) moveRule(ar rules.AppliedRule, l latch.Latch, at judge.Judgement) {
	f.move(alarmMove{Key: l.Key, stage: l.Stage, words: func(t *alarm.Transition, from, to int) {
		f.RuleWords(t, ar, l, at, from, to, f.causeIDs())
	}})
}

// setLatch puts the latch into the record, of which the latches are copied at the
// first of the fold.
func (f *fold) setLatch(l latch.Latch) {
	r := f.Rec
	if !f.ownLatches {
		r.Latches, f.ownLatches = slices.Clone(r.Latches), true
	}
	i, ok := r.LatchAt(l.Key)
	if ok {
		r.Latches[i] = l
		return
	}
	r.Latches = slices.Insert(r.Latches, i, l)
}
