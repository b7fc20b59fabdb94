package engine

import (
	"cmp"
	"math"
	"strings"
	"time"
)

// The standings of an alarm in the terms of ISA-18.2 and IEC 62682.
const (
	normal         = "normal"
	unacknowledged = "unacknowledged"
	acknowledged   = "acknowledged"
	returned       = "returned"
	shelved        = "shelved"
	outOfService   = "out of service"
)

// The transitions.
const (
	raised      = "raised"
	worsened    = "worsened"
	eased       = "eased"
	cleared     = "cleared"
	acked       = "acknowledged"
	shelvedNow  = "shelved"
	unshelved   = "unshelved"
	withdrawn   = "withdrawn"
	notJudgedAs = "not judged"
)

// returnedSeconds is how long a returned alarm waits for an answer until it is normal.
const returnedSeconds = 30 * 24 * 3600

// TaskStages are the words of the task stages by number; 0 is normal.
var TaskStages = [...]string{normal, "soon", "due", "overdue"}

// ruleStages are the words of the rule stages by number.
var ruleStages = [...]string{normal, "advisory", "caution", "warning"}

// AlarmKey names an alarm within its vehicle: a rule's or task's name, and the
// component where it is kept once for each.
type AlarmKey struct {
	Rule      string `json:"rule"`
	Component string `json:"component,omitempty"`
}

func (k AlarmKey) compare(o AlarmKey) int {
	return cmp.Or(strings.Compare(k.Rule, o.Rule), strings.Compare(k.Component, o.Component))
}

// Alarm is a rule's standing judgement. Stage and standing are two things: Stage
// is how bad it is, Acked and Returned whether a person has said that they know.
type Alarm struct {
	AlarmKey
	Task  bool `json:"task,omitempty"`
	Stage int  `json:"stage"` // 0 normal: kept while it is returned
	Acked bool `json:"acked,omitempty"`
	// AckedBy is the answer that acknowledged it.
	AckedBy ID `json:"ackedBy,omitzero"`
	// Since is when the stage was reached, or when it cleared; Unix seconds.
	Since int64 `json:"since"`
	// ShelvedUntil is 0 where it is not shelved; ShelvedAt the stage it was shelved at.
	ShelvedUntil int64      `json:"shelvedUntil,omitempty"`
	ShelvedAt    int        `json:"shelvedAt,omitempty"`
	ShelvedBy    ID         `json:"shelvedBy,omitzero"`
	Last         Transition `json:"last"`
}

func (a *Alarm) stageName(n int) string {
	if a.Task {
		return TaskStages[n]
	}
	return ruleStages[n]
}

// standing is the alarm's standing as people read it.
func (a *Alarm) standing(out bool) string {
	switch {
	case out && a.Stage > 0:
		return outOfService
	case a.ShelvedUntil != 0:
		return shelved
	case a.Stage == 0 && a.Acked:
		return normal
	case a.Stage == 0:
		return returned
	case a.Acked:
		return acknowledged
	}
	return unacknowledged
}

// Move brings the alarm to a stage at a moment (Unix seconds): it tells what that is
// called, and whether it stays unsaid since the alarm was shelved. One place decides
// what a change of stage is called. byVoid: what it rested on was taken out.
func (a *Alarm) Move(to int, at int64, byVoid bool) (what string, unsaid bool) {
	from, wasShelved := a.Stage, a.ShelvedUntil != 0
	what = stageWord(from, to, byVoid)
	a.Stage, a.Since = to, at
	switch {
	case from == 0:
		a.Acked, a.AckedBy = false, ID{}
	case to > from:
		a.Acked, a.AckedBy = false, ID{}
		if wasShelved && to > a.ShelvedAt {
			a.unshelve()
		}
	case to == 0:
		a.unshelve()
		a.Acked = a.Acked || what == withdrawn
	}
	return what, wasShelved && (a.ShelvedUntil != 0 || to == 0)
}

func stageWord(from, to int, byVoid bool) string {
	switch {
	case from == 0:
		return raised
	case to > from:
		return worsened
	case to > 0:
		return eased
	case byVoid:
		return withdrawn
	}
	return cleared
}

// Acknowledge notes that a person knows of it.
func (a *Alarm) Acknowledge(by ID) error {
	if a.Acked {
		return Refuse("%q is acknowledged already", a.Rule)
	}
	a.Acked, a.AckedBy = true, by
	return nil
}

// Shelve puts it aside until a time, RFC 3339.
func (a *Alarm) Shelve(until string, now time.Time, by ID) error {
	t, err := time.Parse(time.RFC3339, until)
	switch {
	case err != nil:
		return Refuse("until %q is not a time like 2031-03-20T08:05:00Z", until)
	case a.Stage == 0:
		return Refuse("%q has returned to normal: there is nothing to shelve", a.Rule)
	case !t.After(now):
		return Refuse("until %s is over already", until)
	}
	a.ShelvedUntil, a.ShelvedAt, a.ShelvedBy = t.Unix(), a.Stage, by
	return nil
}

// Unshelve ends the shelf before its time.
func (a *Alarm) Unshelve() error {
	if a.ShelvedUntil == 0 {
		return Refuse("%q is not shelved", a.Rule)
	}
	a.unshelve()
	return nil
}

func (a *Alarm) unshelve() { a.ShelvedUntil, a.ShelvedAt, a.ShelvedBy = 0, 0, ID{} }

// TakeBack undoes what an answer did that is taken out: it tells whether the alarm is
// no longer shelved, or no longer acknowledged.
func (a *Alarm) TakeBack(answer ID) (wasShelved, wasAcked bool) {
	switch answer {
	case a.ShelvedBy:
		a.unshelve()
		return true, false
	case a.AckedBy:
		a.Acked, a.AckedBy = false, ID{}
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
func (a *Alarm) Gone() bool { return a.Stage == 0 && (a.Acked || a.Last.Transition == withdrawn) }
