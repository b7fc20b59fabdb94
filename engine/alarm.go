package engine

import (
	"cmp"
	"slices"
	"sort"
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

// A returned alarm becomes normal after this time without an answer.
const returnedFor = 30 * 24 * time.Hour

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

// alarm returns the index of the alarm of that key, or -1.
func (r *Record) alarm(k AlarmKey) int {
	i, ok := r.alarmAt(k)
	if !ok {
		return -1
	}
	return i
}

// alarmAt is where the alarm of that key stands, or would. It holds all that was last
// said of it, and a search by value copies each that it looks at.
func (r *Record) alarmAt(k AlarmKey) (int, bool) {
	i := sort.Search(len(r.Alarms), func(i int) bool { return r.Alarms[i].compare(k) >= 0 })
	return i, i < len(r.Alarms) && r.Alarms[i].AlarmKey == k
}

// setAlarm puts a into the record, or takes it out where nothing of it stands.
func (r *Record) setAlarm(a Alarm) {
	i, found := r.alarmAt(a.AlarmKey)
	list := slices.Clone(r.Alarms)
	gone := a.Stage == 0 && (a.Acked || a.Last.Transition == withdrawn)
	switch {
	case found && gone:
		list = slices.Delete(list, i, i+1)
	case found:
		list[i] = a
	case !gone:
		list = slices.Insert(list, i, a)
	}
	r.Alarms = list
}

// move is what a judgement asks of an alarm: the stage it should have and the
// words for it.
type move struct {
	AlarmKey
	task  bool
	stage int
	// words fills in the transition's message, evidence, advice and the rest; it
	// is called only when the alarm moves. For a task that was judged they are found
	// from its place in fold.judged, of which due is one more.
	words func(t *Transition, from, to int)
	due   int
}

// turn moves the alarm to the stage that m asks for; it returns nil where nothing
// changes. One place decides what a change of stage is called.
func (f *fold) turn(m move) *Transition {
	i := f.rec.alarm(m.AlarmKey)
	a := Alarm{AlarmKey: m.AlarmKey, Task: m.task}
	if i >= 0 {
		a = f.rec.Alarms[i]
	}
	from, to := a.Stage, m.stage
	if from == to {
		return nil
	}
	t := f.transition(&a, stageWord(from, to, f.change.TookOut), from, to)
	wasShelved := a.ShelvedUntil != 0
	a.Stage, a.Since = to, t.Time.Unix()
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
		a.Acked = a.Acked || t.Transition == withdrawn
	}
	t.Shelved = wasShelved && (a.ShelvedUntil != 0 || to == 0)
	t.Standing = a.standing(f.rec.Out)
	switch {
	case m.due > 0:
		j := &f.judged[m.due-1]
		f.taskWords(t, &j.due, to, f.causeIDs())
	case m.words != nil:
		m.words(t, from, to)
	}
	a.Last = *t
	f.rec.setAlarm(a)
	return t
}

func (a *Alarm) unshelve() { a.ShelvedUntil, a.ShelvedAt, a.ShelvedBy = 0, 0, ID{} }

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

// transition makes a transition of a with all that does not hang on the rule.
func (f *fold) transition(a *Alarm, what string, from, to int) *Transition {
	return &Transition{
		Time: f.when, Vehicle: f.rec.Vehicle, Component: a.Component, Rule: a.Rule, Transition: what,
		From: a.stageName(from), To: a.stageName(to), Task: a.Task, Book: f.bookHash(),
	}
}

// withdraw takes an alarm away whose rule, component or vehicle is gone.
func (f *fold) withdraw(a Alarm, why string) {
	from := a.Stage
	a.Stage = 0
	t := f.transition(&a, withdrawn, from, 0)
	t.Standing, t.Message, t.Title = normal, why, a.Last.Title
	t.Events = f.causeIDs()
	a.Last = *t
	f.rec.setAlarm(a)
	if from > 0 {
		f.say(t)
	}
}

// endShelves unshelves what was shelved until now, and forgets what returned
// long ago.
func (f *fold) endShelves() {
	now := f.when.Unix()
	for _, a := range f.rec.Alarms {
		switch {
		case a.ShelvedUntil != 0 && a.ShelvedUntil <= now:
			a.unshelve()
			t := f.transition(&a, unshelved, a.Stage, a.Stage)
			t.Standing, t.Message, t.Title = a.standing(f.rec.Out), "the shelf is over; "+a.Last.Message, a.Last.Title
			t.Advise, t.Cautions, t.OwnCautions, t.Events = a.Last.Advise, a.Last.Cautions, a.Last.OwnCautions, a.Last.Events
			f.rec.setAlarm(a)
			f.say(t)
		case a.Stage == 0 && now-a.Since >= int64(returnedFor/time.Second):
			a.Acked = true
			f.rec.setAlarm(a)
		}
	}
}
