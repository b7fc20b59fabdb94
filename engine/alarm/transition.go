package alarm

import (
	"cmp"
	"fmt"
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Transition is one change of an alarm, in the shape that the outside sees.
type Transition struct {
	// Time is the latest of the cause's time, its recorded time and the last tick.
	Time    time.Time `json:"time"`
	Vehicle string    `json:"vehicle"`
	// First is the name under which the vehicle's record is kept, where it has another by
	// now; "" where it is the same.
	First      string          `json:"first,omitempty"`
	Component  string          `json:"component,omitempty"`
	Rule       string          `json:"rule"` // the rule's or task's name
	Transition Change          `json:"transition"`
	From       Stage           `json:"from"`
	To         Stage           `json:"to"`
	Standing   Standing        `json:"standing"`
	Shelved    bool            `json:"shelved,omitempty"`
	Measure    *float64        `json:"measure,omitempty"`
	Message    string          `json:"message,omitempty"`
	Evidence   []word.Evidence `json:"evidence,omitempty"`
	PointsTo   []string        `json:"pointsTo,omitempty"`
	Advise     string          `json:"advise,omitempty"`
	Cautions   []string        `json:"cautions,omitempty"`
	// OwnCautions are the words of those of the cautions that the book explains itself.
	OwnCautions map[string]string `json:"ownCautions,omitempty"`
	FollowUps   []string          `json:"followUps,omitempty"`
	// Source says where the limit that was reached comes from, of a task the interval.
	Source string `json:"source,omitempty"`
	// PullsIn are the tasks that this asks for earlier than they are due.
	PullsIn []string   `json:"pullsIn,omitempty"`
	Events  []event.ID `json:"events,omitempty"`
	// BasedOn says in words what the events are: "sample L-1042 drawn 2031-02-10". What
	// is stored of an alarm has none.
	BasedOn []string `json:"basedOn,omitempty"`
	Book    string   `json:"book,omitempty"`
	// Task says that the alarm is a task's (Rule is the task's name).
	Task bool `json:"task,omitempty"`
	// Title is the task's or rule's title for people.
	Title string `json:"title,omitempty"`
	// Statutory says that the task is required by law.
	Statutory bool `json:"statutory,omitempty"`
	// Lapsed says of a follow-up that it was not done in time, and is not asked for any more.
	Lapsed bool `json:"lapsed,omitempty"`
	// Backlog says that what brought it about lies back, or concerns many at once.
	Backlog Backlog `json:"backlog,omitzero"`
	// Due is where the task stands, absent of anything else.
	Due *DuePoint `json:"due,omitempty"`
	// Amounts are the quantities of which the texts speak.
	Amounts []Amount `json:"amounts,omitempty"`
	// Reads are the units in which people read of the vehicle, where its registration says.
	Reads []string `json:"reads,omitempty"`
	// Reconciled says that no event brought it about: a newer program judges the
	// same events otherwise than the one that spoke before.
	Reconciled bool `json:"reconciled,omitempty"`
}

// Home is the name under which the vehicle's record is kept, which is the same for ever.
func (t *Transition) Home() string { return cmp.Or(t.First, t.Vehicle) }

// Refusal is an event that could not be used, and why.
type Refusal struct {
	Refused string             `json:"refused"`
	Class   event.RefusalClass `json:"class,omitempty"`
	Line    int                `json:"line,omitempty"`
	Seq     uint64             `json:"seq,omitempty"` // of the event in the log, in a list of refusals
	Vehicle string             `json:"vehicle,omitempty"`
	Event   *event.ID          `json:"event,omitempty"`
	Time    time.Time          `json:"time,omitzero"`
	// Kept: the event was used; only the part that the reason names was not.
	Kept bool `json:"kept,omitempty"`
}

// NotJudged is a rule that could not be judged because something was missing.
type NotJudged struct {
	Time       time.Time  `json:"time"`
	Vehicle    string     `json:"vehicle"`
	Component  string     `json:"component,omitempty"`
	Rule       string     `json:"rule"`
	Transition Change     `json:"transition"` // always "not judged"
	Missing    []string   `json:"missing"`
	Events     []event.ID `json:"events,omitempty"`
}

// Listed is one alarm that is not normal, as a listing shows it.
type Listed struct {
	Since        time.Time         `json:"since"` // when its stage was reached
	Name         string            `json:"name"`  // the vehicle's name for people
	Tags         map[string]string `json:"tags,omitempty"`
	People       []string          `json:"people,omitempty"`
	Transition                     // the last transition that the alarm made
	ShelvedUntil time.Time         `json:"shelvedUntil,omitzero"`
}

// NoHistory stands in place of the limit of a task that nobody knows when it was last
// done.
const NoHistory = "no history"

// Reported stands in place of the limit of a task that is due when a defect is reported.
const Reported = "reported"

// DuePoint is where a task stood when it moved, for whoever writes it in a
// person's own units and dates.
type DuePoint struct {
	// On is the vehicle's local date on which it was judged, "" where it has no clock.
	On string `json:"on,omitempty"`
	// Limit, Date, At, InAll, Past and the forecast are those of DueItem, in km or h.
	Limit  string         `json:"limit"`
	Date   string         `json:"date,omitempty"`
	At     *unit.Quantity `json:"at,omitempty"`
	InAll  *unit.Quantity `json:"inAll,omitempty"`
	Past   *unit.Quantity `json:"past,omitempty"`
	Early  string         `json:"early,omitempty"`
	Likely string         `json:"likely,omitempty"`
	Late   string         `json:"late,omitempty"`
	// PulledIn are the alarms that asked for it earlier than it would be due.
	PulledIn []PulledIn `json:"pulledIn,omitempty"`
	// Postponed says who moved it, and why.
	Postponed string `json:"postponed,omitempty"`
	// Untold says since when its distance cannot be told, since the meter went back.
	Untold string `json:"untold,omitempty"`
	// Worn says where what is measured by hand sets the point, and going by what.
	Worn string `json:"worn,omitempty"`
}

// PulledIn is an alarm that moved a task's due point nearer.
type PulledIn struct {
	Rule      string    `json:"rule"`
	Component string    `json:"component,omitempty"`
	On        string    `json:"on"`     // the local date of what raised it
	Within    string    `json:"within"` // as "5,000 km or 60 days"
	By        *event.ID `json:"by,omitempty"`
	Limits    string    `json:"limits"` // of the task that it moved, as "distance, time"
	// Stated: the alarm rests on a share of the fluid that nobody measured, so it moved nothing.
	Stated bool `json:"stated,omitempty"`
}

// Words say which alarm moved the due point, and to where.
func (p *PulledIn) Words() string {
	where := ""
	if p.Component != "" {
		where = " (" + p.Component + ")"
	}
	if p.Stated {
		return fmt.Sprintf("the alarm \"%s\"%s of %s brings it forward to within %s; it is based on an assumed share of the fluid, so this is soon at most", p.Rule, where, p.On, p.Within)
	}
	return fmt.Sprintf("brought forward by the alarm \"%s\"%s of %s: within %s of it", p.Rule, where, p.On, p.Within)
}
