package engine

import (
	"fmt"
	"slices"
	"strconv"
	"time"
)

// WhyEvent is an event as people know it. A judgement by the clock has none: its
// What says so.
type WhyEvent struct {
	*ID
	Time time.Time `json:"time,omitzero"`
	What string    `json:"what"`
}

// line is the event in a list: when, what, and by which name it can be found.
func (e *WhyEvent) line() string {
	s := e.What
	if !e.Time.IsZero() {
		s = e.Time.Format("2006-01-02") + "  " + s
	}
	if e.ID != nil {
		s += fmt.Sprintf("  [%s %s]", e.ID.Source, e.ID.ID)
	}
	return s
}

// whyEvent finds an event in the record and says what it was.
func (f *view) whyEvent(id ID) WhyEvent {
	if id == (ID{}) {
		return WhyEvent{Time: f.Now, What: theClock}
	}
	e := WhyEvent{ID: &id}
	at := func(s *Stamp) bool {
		if s.ID == id {
			e.Time = time.Unix(0, s.At).UTC()
		}
		return s.ID == id
	}
	for i := range f.rec.Samples {
		if s := &f.rec.Samples[i]; at(&s.Stamp) {
			e.What = sampleWords(s.SampleData)
		}
	}
	for i := range f.rec.Services {
		if s := &f.rec.Services[i]; at(&s.Stamp) {
			e.What = serviceWords(s.ServiceData)
		}
	}
	for i := range f.rec.Meters {
		m := &f.rec.Meters[i]
		for k := range m.Readings {
			if r := &m.Readings[k]; at(&r.Stamp) {
				e.What = m.Name + " read " + f.amount(r.Value, m.Hours)
			}
		}
	}
	if e.What == "" {
		e.What = "an event that is kept no longer"
	}
	return e
}

// whyMasked names the latest exchange of fluid since the stage was reached that the
// last judgement saw.
func (f *view) whyMasked(comp int, l Latch) string {
	t := f.timeline(comp)
	reached := slices.IndexFunc(t.steps, func(s step) bool { return s.id() == l.Reached })
	judged := slices.IndexFunc(t.steps, func(s step) bool { return s.id() == l.Judged })
	for i := judged; i > reached; i-- {
		if s := t.steps[i]; s.service != nil {
			return f.maskedWords(f.whyEvent(s.service.ID), l)
		}
	}
	return f.maskedWords(WhyEvent{}, l)
}

func (f *view) maskedWords(by WhyEvent, l Latch) string {
	need := "half the age that it had then"
	switch {
	case l.Age[0] > 0:
		need = f.amount(l.Age[0]/2, false) + ", half of what it had run then"
	case l.Age[1] > 0:
		need = f.amount(l.Age[1]/2, true) + ", half of what it had run then"
	}
	exchange := "an exchange of fluid"
	if by.What != "" {
		exchange += " (" + by.line() + ")"
	}
	return exchange + " thinned what the alarm saw; it may worsen, but not ease before the fluid has run " + need
}

func sampleWords(d *SampleData) string {
	s := "sample of the " + d.Component
	if d.Number != "" {
		s = "sample " + d.Number + " of the " + d.Component
	}
	if d.Revision > 0 {
		s += ", revision " + strconv.Itoa(d.Revision)
	}
	return s
}

func serviceWords(d *ServiceData) string {
	s := "work done: " + d.What()
	if d.Component != "" {
		s += ", on the " + d.Component
	}
	return s
}

const (
	nothingYet = "nothing that it is judged on has come yet"
	theClock   = "the clock"
)
