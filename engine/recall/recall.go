// Package recall tells people what an event of a vehicle's record was, and which of them
// hides what an alarm saw.
package recall

import (
	"fmt"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
)

// Event is an event as people know it. A judgement by the clock has none: its
// What says so.
type Event struct {
	*event.ID
	Time time.Time `json:"time,omitzero"`
	What string    `json:"what"`
}

// Line is the event in a list: when, what, and by which name it can be found.
func (e *Event) Line() string {
	s := e.What
	if !e.Time.IsZero() {
		s = e.Time.Format("2006-01-02") + "  " + s
	}
	if e.ID != nil {
		s += fmt.Sprintf("  [%s %s]", e.ID.Source, e.ID.ID)
	}
	return s
}

// Of finds an event in the record and says what it was.
func Of(v *judge.View, id event.ID) Event {
	if id == (event.ID{}) {
		return Event{Time: v.Now, What: theClock}
	}
	e := Event{ID: &id}
	at := func(s *record.Stamp) bool {
		if s.ID == id {
			e.Time = time.Unix(0, s.At).UTC()
		}
		return s.ID == id
	}
	for i := range v.Rec.Samples {
		if s := &v.Rec.Samples[i]; at(&s.Stamp) {
			e.What = s.SampleData.What()
		}
	}
	for i := range v.Rec.Services {
		if s := &v.Rec.Services[i]; at(&s.Stamp) {
			e.What = serviceWords(event.ReadIn(v.Said(), s.ServiceData).(*event.ServiceData))
		}
	}
	for i := range v.Rec.Meters {
		m := &v.Rec.Meters[i]
		for k := range m.Readings {
			if r := &m.Readings[k]; at(&r.Stamp) {
				e.What = m.Name + " read " + v.Amount(r.Value, m.Hours)
			}
		}
	}
	if e.What == "" {
		e.What = "an event that is no longer kept"
	}
	return e
}

// Masked names the latest exchange of fluid since the stage was reached that the
// last judgement saw.
func Masked(v *judge.View, r *rules.Rule, comp int, l latch.Latch) string {
	t := v.Timeline(comp)
	reached := v.Reached(t.Steps, &l)
	judged := slices.IndexFunc(t.Steps, func(s record.Step) bool { return s.ID() == l.Judged })
	for i := judged; i > reached; i-- {
		if s := &t.Steps[i]; s.Exchanged() {
			return maskedWords(v, r, Of(v, s.Service.ID), l)
		}
	}
	return maskedWords(v, r, Event{}, l)
}

func maskedWords(v *judge.View, r *rules.Rule, by Event, l latch.Latch) string {
	until := "before the second sample that can be judged after it, as nobody knows how far the fluid had run"
	const half = ", half its age at the change, or less if less was changed"
	switch {
	case r.MaskedFor != (rules.Limits{}):
		until = "before the fluid has run " + v.Chosen(r.MaskedFor.Distance, false) + " or " + v.Amount(r.MaskedFor.Hours, true)
	case l.Age[0] > 0:
		until = "before the fluid has run " + v.Amount(l.Age[0]/2, false) + half
	case l.Age[1] > 0:
		until = "before the fluid has run " + v.Amount(l.Age[1]/2, true) + half
	}
	exchange := "a fluid change"
	if by.What != "" {
		exchange += " (" + by.Line() + ")"
	}
	return exchange + " diluted what the alarm saw; it can get worse, but does not ease " + until
}

func serviceWords(d *event.ServiceData) string {
	s := "work done: " + d.What()
	if d.Component != "" {
		s += ", on the " + d.Component
	}
	return s
}

const (
	// NothingYet stands for the event of a rule that was never judged.
	NothingYet = "no data to judge it by yet"
	theClock   = "the clock"
)
