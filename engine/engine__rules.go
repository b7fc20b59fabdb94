package engine

import (
	"math"
	"slices"
	"telltale/rules"
)

// anew reports whether a rule on that component must walk its history again: a
// fact came before something that was judged.
func (f *fold) anew(comp int) bool {
	if f.change.All {
		return true
	}
	if !f.change.Fact || comp < 0 {
		return f.change.Fact && f.rec.lateFact(&f.ev)
	}
	t := f.timeline(comp)
	i := t.lastSample()
	if f.change.Again && f.change.Sample == f.componentName(comp) {
		return true
	}
	if i < 0 || t.steps[i].sample.ID == f.ev.ID {
		return false
	}
	return f.change.Place.compare(t.steps[i].place) <= 0
}

// newJudgement is the place at which the event has a rule judged, if it does and
// the rule need not walk again.
func (f *fold) newJudgement(ar rules.AppliedRule) (judgement, bool) {
	r, c := ar.Rule, f.change
	switch {
	case f.ev.Kind == TickEvent && r.On&rules.OnClock != 0:
		return judgement{lastPlace, math.MaxInt64, ID{}}, true
	case !c.Fact:
		return judgement{}, false
	case c.Sample != "" && r.On&rules.OnSample != 0 && c.Sample == f.componentName(ar.Component):
		t := f.timeline(ar.Component)
		if i := t.lastSample(); i >= 0 && t.steps[i].sample.ID == f.ev.ID {
			return judgement{t.steps[i].place, max(t.steps[i].at, f.ev.Time.UnixNano()), f.ev.ID}, true
		}
	case c.Reading && r.On&rules.OnReading != 0 && f.rec.acceptedReading(&f.ev),
		c.Service != nil && r.On&rules.OnService != 0:
		return judgement{place{f.ev.Time.UnixNano(), uint8(ServiceEvent)}, f.ev.Time.UnixNano(), f.ev.ID}, true
	}
	return judgement{}, false
}

// judgeRule brings one rule up to date after the event and turns its alarm.
func (f *fold) judgeRule(ar rules.AppliedRule) {
	k := AlarmKey{Rule: ar.Rule.Name, Component: f.componentName(ar.Component)}
	l, had := f.rec.latch(k)
	var last judgement
	switch at, now := f.newJudgement(ar); {
	case f.anew(ar.Component) || !had:
		before := l
		l, last = f.walk(ar.Rule, ar.Component, k)
		l.keepOpenings(ar.Rule, &before)
	case now:
		if f.step(ar.Rule, ar.Component, &l, at) {
			last = at
		}
	default:
		return
	}
	f.setLatch(l)
	if len(l.Missing) > 0 {
		f.notJudged(k, l)
	}
	if a := f.rec.alarm(k); a != nil && a.Stage != l.Stage || a == nil && l.Stage > 0 {
		f.moveRule(ar, l, last)
	}
}

// moveRule asks for the alarm's move to the latch's stage. It is apart so that a
// latch is copied to where closures live only when an alarm moves.
func (f *fold) moveRule(ar rules.AppliedRule, l Latch, at judgement) {
	f.move(alarmMove{AlarmKey: l.AlarmKey, stage: l.Stage, words: func(t *Transition, from, to int) {
		f.ruleWords(t, ar, l, at, from, to, f.causeIDs())
	}})
}

// setLatch puts the latch into the record, of which the latches are copied at the
// first of the fold.
func (f *fold) setLatch(l Latch) {
	r := f.rec
	if !f.ownLatches {
		r.Latches, f.ownLatches = slices.Clone(r.Latches), true
	}
	i, ok := r.latchAt(l.AlarmKey)
	if ok {
		r.Latches[i] = l
		return
	}
	r.Latches = slices.Insert(r.Latches, i, l)
}
