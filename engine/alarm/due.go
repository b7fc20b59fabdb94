package alarm

import (
	"fmt"

	"telltale/engine/event"
	"telltale/rules/unit"
)

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
		return fmt.Sprintf("the alarm \"%s\"%s of %s would have it within %s of it, but rests on a share of the fluid that nobody measured: soon, and no more", p.Rule, where, p.On, p.Within)
	}
	return fmt.Sprintf("pulled in by the alarm \"%s\"%s of %s: within %s of it", p.Rule, where, p.On, p.Within)
}
