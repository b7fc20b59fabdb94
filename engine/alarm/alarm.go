// Package alarm is the life of an alarm, in the terms of ISA-18.2 and IEC 62682: how bad
// it is, whether a person knows of it, and what each change of that is called. It knows
// nothing of rules or tasks; whoever judges asks an [Alarm] to move.
package alarm

import (
	"cmp"
	"math"
	"strings"

	"telltale/engine/event"
)

// returnedSeconds is how long a returned alarm waits for an answer until it is normal.
const returnedSeconds = 30 * 24 * 3600

// Key names an alarm within its vehicle: a rule's or task's name, and the
// component where it is kept once for each.
type Key struct {
	Rule      string `json:"rule"`
	Component string `json:"component,omitempty"`
}

// Compare orders keys by rule, then component.
func (k Key) Compare(o Key) int {
	return cmp.Or(strings.Compare(k.Rule, o.Rule), strings.Compare(k.Component, o.Component))
}

// Alarm is a rule's standing judgement. Stage and standing are two things: Stage
// is how bad it is, Acked and Returned whether a person has said that they know.
type Alarm struct {
	Key
	Task  bool `json:"task,omitempty"`
	Stage int  `json:"stage"` // 0 normal: kept while it is returned
	Acked bool `json:"acked,omitempty"`
	// AckedBy is the answer that acknowledged it.
	AckedBy event.ID `json:"ackedBy,omitzero"`
	// Since is when the stage was reached, or when it cleared; Unix seconds.
	Since int64 `json:"since"`
	// ShelvedUntil is 0 where it is not shelved; ShelvedAt the stage it was shelved at.
	ShelvedUntil int64      `json:"shelvedUntil,omitempty"`
	ShelvedAt    int        `json:"shelvedAt,omitempty"`
	ShelvedBy    event.ID   `json:"shelvedBy,omitzero"`
	Last         Transition `json:"last"`
}

// StageName is the word for a stage of the alarm.
func (a *Alarm) StageName(n int) Stage {
	if a.Task {
		return TaskStages[n]
	}
	return RuleStages[n]
}

// Standing is the alarm's standing as people read it.
func (a *Alarm) Standing(out bool) Standing {
	switch {
	case out && a.Stage > 0:
		return OutOfService
	case a.ShelvedUntil != 0:
		return Shelved
	case a.Stage == 0 && a.Acked:
		return StandsNormal
	case a.Stage == 0:
		return Returned
	case a.Acked:
		return Acknowledged
	}
	return Unacknowledged
}

// Move brings the alarm to a stage at a moment (Unix seconds): it tells what that is
// called, and whether it stays unsaid since the alarm was shelved. One place decides
// what a change of stage is called. byVoid: what it rested on was taken out.
func (a *Alarm) Move(to int, at int64, byVoid bool) (what Change, unsaid bool) {
	from, wasShelved := a.Stage, a.ShelvedUntil != 0
	what = stageWord(from, to, byVoid)
	a.Stage, a.Since = to, at
	switch {
	case from == 0:
		a.Acked, a.AckedBy = false, event.ID{}
	case to > from:
		a.Acked, a.AckedBy = false, event.ID{}
		if wasShelved && to > a.ShelvedAt {
			a.unshelve()
		}
	case to == 0:
		a.unshelve()
		a.Acked = a.Acked || what == Withdrawn
	}
	return what, wasShelved && (a.ShelvedUntil != 0 || to == 0)
}

// Again tells anew of an alarm that stands, since there is more to it: nobody has said that
// they know of that.
func (a *Alarm) Again() Change {
	a.Acked, a.AckedBy = false, event.ID{}
	a.unshelve()
	return Raised
}

func stageWord(from, to int, byVoid bool) Change {
	switch {
	case from == 0:
		return Raised
	case to > from:
		return Worsened
	case to > 0:
		return Eased
	case byVoid:
		return Withdrawn
	}
	return Cleared
}

// Acknowledge notes that a person knows of it.
func (a *Alarm) Acknowledge(by event.ID) error {
	if a.Acked {
		return event.Refuse("%q is acknowledged already", a.Rule)
	}
	a.Acked, a.AckedBy = true, by
	return nil
}

// Unshelve ends the shelf before its time.
func (a *Alarm) Unshelve() error {
	if a.ShelvedUntil == 0 {
		return event.Refuse("%q is not put aside", a.Rule)
	}
	a.unshelve()
	return nil
}

func (a *Alarm) unshelve() { a.ShelvedUntil, a.ShelvedAt, a.ShelvedBy = 0, 0, event.ID{} }

// TakeBack undoes what an answer did that is taken out: it tells whether the alarm is
// no longer shelved, or no longer acknowledged.
func (a *Alarm) TakeBack(answer event.ID) (wasShelved, wasAcked bool) {
	switch answer {
	case a.ShelvedBy:
		a.unshelve()
		return true, false
	case a.AckedBy:
		a.Acked, a.AckedBy = false, event.ID{}
		return false, true
	}
	return false, false
}

// EndShelf ends a shelf whose time is over, and reports whether it did. now and the
// moments of the alarm are Unix seconds.
func (a *Alarm) EndShelf(now int64) bool {
	over := a.ShelvedUntil != 0 && a.ShelvedUntil <= now
	if over {
		a.unshelve()
	}
	return over
}

// Forget makes an alarm that returned long ago normal, and reports whether it did.
func (a *Alarm) Forget(now int64) bool {
	old := a.Stage == 0 && now >= a.Since+returnedSeconds
	a.Acked = a.Acked || old
	return old
}

// NextChange is the next moment at which time alone changes it: a shelf ends, or it
// is forgotten; math.MaxInt64 where there is none.
func (a *Alarm) NextChange() int64 {
	next := int64(math.MaxInt64)
	if a.ShelvedUntil != 0 {
		next = a.ShelvedUntil
	}
	if a.Stage == 0 {
		next = min(next, a.Since+returnedSeconds)
	}
	return next
}

// Gone reports whether nothing of it stands or is to be known.
func (a *Alarm) Gone() bool { return a.Stage == 0 && (a.Acked || a.Last.Transition == Withdrawn) }

// Difference is what a difference is called; empty where there is none that is
// told. That a vehicle is out of service is told by no alarm of its own.
func Difference(said, now Standing, from, to int, there bool) Change {
	switch {
	case from != to:
		return stageWord(from, to, !there)
	case to == 0 || said == now || said == OutOfService || now == OutOfService:
		return ""
	case now == Acknowledged:
		return NowAcknowledged
	case now == Shelved:
		return NowShelved
	case said == Shelved:
		return Unshelved
	}
	return Raised
}
