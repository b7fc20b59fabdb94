package engine

import (
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
)

// clockPast is how far back the ticks are judged again that a late fact came before.
const clockPast = 366 * 24 * time.Hour

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

// stepNow has a rule by the clock go on as it stands: what judges it is the same as before.
func (f *fold) stepNow(ar rules.AppliedRule, l *latch.Latch) judge.Judgement {
	now := judge.Judgement{Before: record.LastPlace, At: math.MaxInt64, Clock: f.Now.UnixNano()}
	if f.Now.IsZero() || !f.Step(ar.Rule, ar.Component, l, now) {
		return judge.Judgement{}
	}
	return now
}

// walkBack judges a rule that goes by the clock again from the event's fact on, as the
// ticks would have found it had the fact come in time: at each midnight (UTC), at the ticks
// that turned it, and at the last tick, with what was observed until then. So what stands
// does not hang on when a fact arrived.
func (f *fold) walkBack(ar rules.AppliedRule, l latch.Latch) (latch.Latch, judge.Judgement) {
	from, now := f.change.Place.At, f.Now.UnixNano()
	if f.change.All {
		from = min(f.Rec.FirstFact(), now)
		if len(l.Turns) > 0 {
			from = min(from, l.Turns[0].At)
		}
	}
	then, from, ticks := l.Before(max(from, f.Now.Add(-clockPast).UnixNano()))
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
	var last judge.Judgement
	for _, at := range places {
		if f.Step(ar.Rule, ar.Component, &then, at) {
			last = at
		}
	}
	return then, last
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
