// Package latch is how far a rule has got on one vehicle or component: which of its
// limits are on, what it opened and what it pulled in. A [Latch] moves by the outcome
// of a judgement alone.
package latch

import (
	"math"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/rules"
	"telltale/rules/expression"
)

// Latch is how far a rule has got on one vehicle or component: which of its
// limits are on, and what it opened. It is a function of the record's facts and
// can be made anew by walking them in order.
type Latch struct {
	alarm.Key
	State
	Judged  event.ID `json:"judged,omitzero"`   // the event at the last judgement
	Missing []string `json:"missing,omitempty"` // why the last event was not judged
	// Stale is from when on it is to be judged again at the next tick, Unix nanoseconds; 0 where
	// it is up to date.
	Stale int64 `json:"stale,omitempty"`
	// Turns are the latest changes of a rule that goes by the clock, in order.
	Turns []Turn `json:"turns,omitempty"`
}

// State is how a latch stands.
type State struct {
	Stage int     `json:"stage,omitempty"`
	On    [4]bool `json:"on"`    // limits by stage number; a pattern has the one of its stage
	Count [4]int  `json:"count"` // judged samples in a row that reached the limit
	// Reached is the event at which the stage was reached, Age the age of the
	// fluid then: metres and seconds, negative where unknown.
	Reached event.ID   `json:"reached,omitzero"`
	Age     [2]float64 `json:"age"`
	Masked  bool       `json:"masked,omitempty"` // at the last judgement an exchange hid the evidence
	// ReachedAt is when the stage was reached where that was no sample: Unix nanoseconds.
	ReachedAt int64 `json:"reachedAt,omitempty"`
	// Since is how many samples were judged after the first exchange of fluid since the stage
	// was reached.
	Since int `json:"since,omitempty"`
	// Opened are the follow-ups opened in this life of the alarm, Openings all of
	// those that may still count.
	Opened   []string  `json:"opened,omitempty"`
	Openings []Opening `json:"openings,omitempty"`
	// Pulls are the tasks pulled in, the last PullsNow of them in this life of the alarm.
	Pulls    []Opening `json:"pulls,omitempty"`
	PullsNow int       `json:"pullsNow,omitempty"`
}

// Opening is a follow-up that a rule opened, or a task that it pulled in: where the
// vehicle stood then.
type Opening struct {
	Name     string   `json:"name"`
	By       event.ID `json:"by"`
	Stage    int      `json:"stage,omitempty"` // of the rule; 0 where a service opened it
	At       int64    `json:"t"`               // Unix nanoseconds
	Distance float64  `json:"distance"`        // metres, negative where unknown
	Hours    float64  `json:"hours"`           // seconds, negative where unknown
	// Stated: what opened it rests on a share of the fluid that nobody measured.
	Stated bool `json:"stated,omitempty"`
}

// Openings kept for a rule, and as many of tasks pulled in.
const keptOpenings = 16

// Of says what a judgement is of.
type Of struct {
	Masked bool // an exchange hides what the alarm saw
	Stated bool // the outcome rests on a share of the fluid that nobody measured
	Counts bool // it is one of those that confirm a limit: a sample, where the rule is asked on samples
}

// Step is the latch after a judgement, of which the ends of censored results gave these
// outcomes; false where they do not agree.
func (l Latch) Step(r *rules.Rule, ends []rules.End, of Of) (next Latch, ok bool) {
	next = l.advance(r, ends[0], of)
	var open [4]bool
	for _, e := range ends[1:] {
		o := l.advance(r, e, of)
		for s := range open {
			open[s] = open[s] || o.On[s] != next.On[s] || !next.countsAs(&o, r, s)
		}
	}
	if !next.leave(&l, open) {
		return l, false
	}
	if of.Stated {
		next.atMostAdvisory(&l)
	}
	next.Masked = of.Masked && next.Stage <= l.Stage // one that worsened shows what it rests on
	return next, true
}

// countsAs reports whether as many samples in a row have reached a limit that is not on yet
// and takes more than one.
func (l *Latch) countsAs(o *Latch, r *rules.Rule, s int) bool {
	return l.On[s] || r.Confirm[s] <= 1 || l.Count[s] == o.Count[s]
}

// advance gives the latch after one judged end: each limit latches alone.
func (l Latch) advance(r *rules.Rule, e rules.End, of Of) Latch {
	if !r.Measured {
		l.turn(r, r.Stage, e.Raise, e.Clear && !e.Raise, of)
	} else {
		for s := rules.Advisory; s <= rules.Warning; s++ {
			if r.Has[s] {
				l.limit(r, s, e.Measure, e.Limits[s], of)
			}
		}
	}
	l.Stage = l.worst()
	return l
}

// worst is the stage: the worst limit that is on, whichever went on last.
func (l *Latch) worst() int {
	for s := rules.Warning; s > 0; s-- {
		if l.On[s] {
			return s
		}
	}
	return 0
}

// atMostAdvisory takes back what rests on a share that nobody measured: it may raise
// an advisory, and no more than stood before.
func (l *Latch) atMostAdvisory(before *Latch) {
	held := false
	for s := rules.Caution; s <= rules.Warning; s++ {
		if l.On[s] && !before.On[s] {
			l.On[s], held = false, true
		}
	}
	if !held {
		return
	}
	l.Stage = rules.Advisory
	for s := rules.Caution; s <= rules.Warning; s++ {
		if l.On[s] {
			l.Stage = s
		}
	}
}

func (l *Latch) limit(r *rules.Rule, s int, m, limit float64, of Of) {
	if math.IsNaN(limit) {
		return // what it asks is missing
	}
	reached, released := atLeast(m, limit), less(m, r.Off(limit))
	if r.Below {
		reached, released = atLeast(limit, m), less(r.Off(limit), m)
	}
	l.turn(r, s, reached, released, of)
}

// turn turns one limit, or a pattern, on or off: on once enough samples in a row have
// reached it, off at once.
func (l *Latch) turn(r *rules.Rule, s int, reached, released bool, of Of) {
	switch {
	case !of.Counts:
	case !reached:
		l.Count[s] = 0
	default:
		l.Count[s] = min(l.Count[s]+1, r.Confirm[s])
	}
	switch {
	case !l.On[s]:
		l.On[s] = reached && (r.Confirm[s] == 1 || l.Count[s] >= r.Confirm[s])
	case released && !of.Masked:
		l.On[s] = false
	}
}

// atLeast and less compare as conditions do: what is a hair under a limit has reached it.
func atLeast(a, b float64) bool { return a >= b || expression.Equal(a, b) }

func less(a, b float64) bool { return a < b && !expression.Equal(a, b) }

// KeepOpenings keeps what an alarm by the clock opened when it did: the clock's past
// is no fact that could be walked again.
func (l *Latch) KeepOpenings(r *rules.Rule, before *Latch) {
	if r.On == rules.OnClock && l.Stage > 0 && before.Stage > 0 {
		l.Opened, l.Openings, l.Pulls, l.PullsNow = before.Opened, before.Openings, before.Pulls, before.PullsNow
	}
}
