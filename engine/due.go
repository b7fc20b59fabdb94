package engine

import (
	"time"

	"telltale/rules/unit"
)

// DueItem is one line of a due list: one task of one vehicle (and component).
type DueItem struct {
	Vehicle   string            `json:"vehicle"`
	Name      string            `json:"name"` // the vehicle's name for people
	Tags      map[string]string `json:"tags,omitempty"`
	People    []string          `json:"people,omitempty"`
	Component string            `json:"component,omitempty"`
	Task      string            `json:"task"`
	Title     string            `json:"title"`
	// Stage is overdue, due, soon, or normal where a list reaches ahead.
	Stage string `json:"stage"`
	// Limit is the limit that decides: distance, time, hours, or "no history".
	Limit string `json:"limit"`
	// Why says in words which limit, and how far past or ahead.
	Why string `json:"why"`
	// DueDate is the local date of the calendar limit; DueAt the face value of
	// the meter limit in Unit; PastBy how far past it (negative: still ahead).
	DueDate string   `json:"dueDate,omitempty"`
	DueAt   *float64 `json:"dueAt,omitempty"`
	PastBy  *float64 `json:"pastBy,omitempty"`
	Unit    string   `json:"unit,omitempty"` // m or s
	// Early, Likely and Late are the local dates between which the first limit is
	// reached, from the vehicle's usage; absent where unknown.
	Early  string `json:"early,omitempty"`
	Likely string `json:"likely,omitempty"`
	Late   string `json:"late,omitempty"`
	// LastDone is the local date of the last time, or the policy that stands for it.
	LastDone string   `json:"lastDone,omitempty"`
	Needs    []Need   `json:"needs,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
	// OwnCautions are the words of those of the cautions that the book explains itself.
	OwnCautions map[string]string `json:"ownCautions,omitempty"`
	// Figures are what the register says of the component.
	Figures   *Figures `json:"figures,omitempty"`
	Statutory bool     `json:"statutory,omitempty"`
	FollowUp  bool     `json:"followUp,omitempty"`
	Shelved   bool     `json:"shelved,omitempty"`
	// Postponed says who moved the due point, and why.
	Postponed string `json:"postponed,omitempty"`
	// PulledIn are the alarms that asked for it earlier than it would be due.
	PulledIn []PulledIn `json:"pulledIn,omitempty"`
}

// DuePoint is where a task stood when it moved, for whoever writes it in a
// person's own units and dates.
type DuePoint struct {
	// On is the vehicle's local date on which it was judged, "" where it has no clock.
	On string `json:"on,omitempty"`
	// Limit, Date, At, Past and the forecast are those of DueItem, in the book's units.
	Limit  string         `json:"limit"`
	Date   string         `json:"date,omitempty"`
	At     *unit.Quantity `json:"at,omitempty"`
	Past   *unit.Quantity `json:"past,omitempty"`
	Early  string         `json:"early,omitempty"`
	Likely string         `json:"likely,omitempty"`
	Late   string         `json:"late,omitempty"`
	// PulledIn are the alarms that asked for it earlier than it would be due.
	PulledIn []PulledIn `json:"pulledIn,omitempty"`
}

// Need is a fluid or a part to have ready. Volume is in litres.
type Need struct {
	Fluid  string  `json:"fluid,omitempty"`
	Volume float64 `json:"volume,omitempty"`
	Part   string  `json:"part,omitempty"`
	Count  int     `json:"count,omitempty"`
}

// Standing is one alarm that is not normal, as a listing shows it.
type Standing struct {
	Since        time.Time         `json:"since"` // when its stage was reached
	Name         string            `json:"name"`  // the vehicle's name for people
	Tags         map[string]string `json:"tags,omitempty"`
	People       []string          `json:"people,omitempty"`
	Transition                     // the last transition that the alarm made
	ShelvedUntil time.Time         `json:"shelvedUntil,omitzero"`
}
