package alarm

import (
	"time"

	"telltale/engine/event"
	"telltale/rules/word"
)

// Transition is one change of an alarm, in the shape that the outside sees.
type Transition struct {
	// Time is the latest of the cause's time, its recorded time and the last tick.
	Time       time.Time       `json:"time"`
	Vehicle    string          `json:"vehicle"`
	Component  string          `json:"component,omitempty"`
	Rule       string          `json:"rule"` // the rule's or task's name
	Transition string          `json:"transition"`
	From       string          `json:"from"`
	To         string          `json:"to"`
	Standing   string          `json:"standing"`
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
	Book    string     `json:"book,omitempty"`
	// Task says that the alarm is a task's (Rule is the task's name).
	Task bool `json:"task,omitempty"`
	// Title is the task's or rule's title for people.
	Title string `json:"title,omitempty"`
	// Statutory says that the task is required by law.
	Statutory bool `json:"statutory,omitempty"`
	// Due is where the task stands, absent of anything else.
	Due *DuePoint `json:"due,omitempty"`
	// Reconciled says that no event brought it about: a newer program judges the
	// same events otherwise than the one that spoke before.
	Reconciled bool `json:"reconciled,omitempty"`
}

// Refusal is an event that could not be used, and why.
type Refusal struct {
	Refused string             `json:"refused"`
	Class   event.RefusalClass `json:"class,omitempty"`
	Line    int                `json:"line,omitempty"`
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
	Transition string     `json:"transition"` // always "not judged"
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
