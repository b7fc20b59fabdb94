// Package whatif folds the same events by two books at once and tells how their
// alarms differ, so that a noisy rule is seen before it is adopted. What it keeps
// is bounded by the records of the vehicles and by what stands, not by the length
// of the file.
package whatif

import (
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
)

// Side is which of the two books; it is an index.
type Side int

// The two books: the one in force, and the one that may replace it.
const (
	Old Side = iota
	New
)

// The differences between the alarms of the two books.
const (
	OnlyOld = "only old" // the new book raises no such alarm at that time
	OnlyNew = "only new"
	Earlier = "earlier" // the new book raises it earlier
	Later   = "later"
	Worse   = "worse" // raised at the same moment; the new book's worst stage is worse
	Milder  = "milder"
)

// Difference is one alarm, from raised to cleared, that the books do not agree on.
type Difference struct {
	Difference string `json:"difference"`
	Vehicle    string `json:"vehicle"`
	Component  string `json:"component,omitempty"`
	Rule       string `json:"rule"` // its name in the new book
	// OldRaised and NewRaised are when it was raised, OldStage and NewStage the worst
	// stages that it reached until it cleared.
	OldRaised time.Time   `json:"oldRaised,omitzero"`
	NewRaised time.Time   `json:"newRaised,omitzero"`
	OldStage  alarm.Stage `json:"oldStage,omitempty"`
	NewStage  alarm.Stage `json:"newStage,omitempty"`
	Message   string      `json:"message,omitempty"` // what was said at the worst stage, by the new book where it did
}

// Count is what one rule or task did by both books.
type Count struct {
	Rule string `json:"rule"`
	// Raised, Transitions and Per100 are by Old and New: alarms raised, all
	// transitions, and alarms raised for each 100 vehicles in a month.
	Raised      [2]int         `json:"raised"`
	Transitions [2]int         `json:"transitions"`
	Per100      [2]float64     `json:"per100"`
	Differences map[string]int `json:"differences,omitempty"` // by kind
}

// Report is the sum of it all.
type Report struct {
	Events   int     `json:"events"`
	Damaged  int     `json:"damaged"` // lines that could not be read
	Vehicles int     `json:"vehicles"`
	Months   float64 `json:"months"` // of 30 days, from the first to the last event
	Refused  [2]int  `json:"refused"`
	// NotJudged counts rules not judged for want of a fact.
	NotJudged [2]int            `json:"notJudged"`
	Rules     []Count           `json:"rules"`            // by name
	People    map[string][2]int `json:"people,omitempty"` // messages at once, by person
}

// outputs is what one event brings by one book.
type outputs struct {
	out   []engine.Output
	heard []string // people who get a message for it, once for each message
}
