package engine

import (
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
)

// clockPast is how far back the ticks are judged again that a late fact came before, and
// clockSoon how far back that is done at once. What is older waits for the next tick: of a
// backlog each event would have a year judged again.
const (
	clockPast = 366 * 24 * time.Hour
	clockSoon = 31 * 24 * time.Hour
)

// putsOff has a late fact wait for the next tick, where that is soon enough for the rule:
// what it is judged on came in time, or it is but one reading of many.
func (f *fold) putsOff(r *rules.Rule, l *latch.Latch) bool {
	switch f.ev.Kind {
	case event.SampleEvent:
		if r.On&rules.OnSample != 0 {
			return false
		}
	case event.ServiceEvent:
		if r.On&rules.OnService != 0 {
			return false
		}
	case event.ReadingEvent:
	default:
		return false
	}
	from := f.walksFrom(l)
	if from >= f.Now.Add(-clockSoon).UnixNano() {
		return false
	}
	l.Stale = from
	return true
}

// carryLatch has a rule that was renamed go on from where it had got by an earlier name.
func (f *fold) carryLatch(p *rules.Part, k alarm.Key) {
	for _, was := range p.Was {
		old, had := f.Rec.LatchOf(alarm.Key{Rule: was, Component: k.Component})
		if _, has := f.Rec.LatchOf(k); had && !has {
			old.Key = k
			f.setLatch(old)
		}
	}
}

// walkBack judges a rule that goes by the clock again from the event's fact on, as the
// ticks would have found it had the fact come in time: at each midnight (UTC), at the ticks
// that turned it, and at the last tick, with what was observed until then. So what stands
// does not hang on when a fact arrived. What hangs on many readings of long ago, such as
// the usage, is reckoned from those that are kept.
func (f *fold) walkBack(ar applies.Rule, l latch.Latch) (latch.Latch, judge.Judgement) {
	then, from, ticks := l.Before(max(f.walksFrom(&l), f.Now.Add(-clockPast).UnixNano()))
	places := f.placesSince(ar, from, ticks)
	var last judge.Judgement
	for _, at := range places {
		if f.Step(ar.Rule, ar.Component, &then, at) {
			last = at
		}
	}
	return then, last
}

// walksFrom is the moment from which on ticks are judged again.
func (f *fold) walksFrom(l *latch.Latch) int64 {
	from := f.Now.UnixNano()
	switch {
	case f.change.All:
		from = min(from, f.Rec.FirstFact())
		if len(l.Turns) > 0 {
			from = min(from, l.Turns[0].At)
		}
	case f.change.Fact:
		from = f.change.Place.At
	}
	if l.Stale != 0 {
		from = min(from, l.Stale)
	}
	return from
}

// placesSince lists the places from a moment on at which the rule is judged, in order;
// ticks are some that turned it.
func (f *fold) placesSince(ar applies.Rule, from int64, ticks []int64) []judge.Judgement {
	now := f.Now.UnixNano()
	for m := midnightFrom(from); m < now; m += int64(24 * time.Hour) {
		ticks = append(ticks, m)
	}
	if from <= now {
		ticks = append(ticks, now)
	}
	slices.Sort(ticks)
	places := slices.DeleteFunc(f.Judgements(ar.Rule, ar.Component), func(at judge.Judgement) bool { return at.Clock != 0 || at.Before.At < from })
	for _, at := range slices.Compact(ticks) {
		places = append(places, judge.Judgement{Before: record.Place{At: at - 1, Rank: math.MaxUint8}, At: at - 1, Clock: at})
	}
	slices.SortStableFunc(places, func(a, b judge.Judgement) int { return a.Before.Compare(b.Before) })
	return places
}

// midnightFrom is the first midnight UTC that is not before a moment, in Unix nanoseconds.
func midnightFrom(at int64) int64 {
	const day = int64(24 * time.Hour)
	m := at - at%day
	if m < at {
		m += day
	}
	return m
}
