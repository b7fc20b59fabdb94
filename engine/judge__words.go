package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"telltale/engine/interval"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
	"time"
)

// amount writes metres in the book's distance, or seconds in hours.
func (f *view) amount(v float64, hours bool) string {
	if hours {
		return english.Amount(v, "h")
	}
	u := "km"
	if f.Book != nil {
		u = f.Book.Units.Distance
	}
	return english.Amount(v, u)
}

// face writes a value as the meter of the chain shows it.
func (f *view) face(c *chain, v float64) string { return f.amount(v, c.hours) }

// taskWords fills in what a task says when it moves.
func (f *view) taskWords(t *Transition, d *due, to int, causes []ID) {
	t.Title = d.title()
	t.Statutory = d.task != nil && d.task.Statutory
	t.Message = t.Title + ": " + f.why(d)
	if to == 0 {
		t.Message = t.Title + ": not due now; " + f.why(d)
	}
	t.Due = f.duePoint(d)
	t.Evidence = f.taskEvidence(d)
	ids := causes
	from := []ID{d.by, d.read.id}
	for _, p := range d.pulls {
		from = append(from, p.By)
	}
	for _, id := range from {
		if id != (ID{}) && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	t.Events = ids
	if to == 0 {
		return
	}
	t.Cautions = d.cautions()
	t.OwnCautions = f.Book.Own(t.Cautions)
	if d.task != nil {
		t.Source = d.task.Sources.Of("every " + d.Limit.String())
	}
}

// why says which limit decides and how far past or ahead it is.
func (f *view) why(d *due) string {
	if d.waiting {
		return "counts from the first reading, which has not come yet"
	}
	if d.noHistory {
		return "no history; do it now, or enter when it was last done"
	}
	parts := []string{f.limitWords(d)}
	if d.Reached {
		parts = append(parts, "going by its usage it has passed this by now; please read the meter")
	}
	waits := d.postponed != nil && d.point.HasDate && d.sure && d.likely >= d.point.Date // of what lies beyond, nobody asked
	if d.Stage <= interval.Soon && d.sure && !waits {
		reach := d.reach(f.applied().zone)
		parts = append(parts, fmt.Sprintf("likely about %s (between %s and %s)", reach[1], reach[0], reach[2]))
	}
	if d.postponed != nil {
		parts = append(parts, postponedBy(d.postponed))
	}
	for _, p := range f.pulledIn(d) {
		parts = append(parts, p.words())
	}
	return strings.Join(parts, "; ")
}

func (f *view) limitWords(d *due) string {
	if d.Limit == interval.ByTime {
		n := int(d.Past)
		switch {
		case d.Stage == interval.Overdue:
			return fmt.Sprintf("overdue, %s past its date of %s", english.Days(n), d.point.Date)
		case n == 0:
			return "due today, " + d.point.Date.String()
		case n > 0:
			return fmt.Sprintf("due since %s, %s ago", d.point.Date, english.Days(n))
		}
		return fmt.Sprintf("due on %s, in %s", d.point.Date, english.Days(-n))
	}
	if d.meter == nil {
		return "no due point yet"
	}
	hours := d.meter.hours
	at := d.point.Distance
	if hours {
		at = d.point.Hours
	}
	due := f.amount(at-(d.read.life-d.read.face), hours)
	now := fmt.Sprintf("the %s reads %s", d.meter.name, f.face(d.meter, d.read.face))
	switch {
	case d.Stage == interval.Overdue:
		return fmt.Sprintf("overdue by %s, was due at %s; %s", f.amount(d.Past, hours), due, now)
	case d.Past >= 0:
		return fmt.Sprintf("due at %s; %s", due, now)
	}
	return fmt.Sprintf("due at %s, in %s; %s", due, f.amount(-d.Past, hours), now)
}

func (f *view) taskEvidence(d *due) []rules.Evidence {
	var out []rules.Evidence
	if d.last != nil && d.fu == nil {
		e := rules.Evidence{Of: "last done", Note: d.last.Date.String()}
		if d.last.Estimated {
			e.Note += ", meter value estimated"
		}
		e.Value, e.Unit = f.faceDone(d)
		out = append(out, e)
	}
	if d.meter != nil {
		value, u := f.shown(d.read.face, d.meter.hours)
		out = append(out, rules.Evidence{Of: d.meter.name, Value: value, Unit: u})
		past, u := f.shown(d.Past, d.meter.hours)
		out = append(out, rules.Evidence{Of: "past the due point", Value: past, Unit: u})
	}
	if d.Limit == interval.ByTime {
		out = append(out, rules.Evidence{Of: "past the due date", Value: d.Past, Unit: "days"})
	}
	return out
}

// faceDone is what the meter showed when the task was last done: people know the
// face of the instrument that was in then.
func (f *view) faceDone(d *due) (float64, string) {
	i := slices.IndexFunc(f.rec.Services, func(s Service) bool { return s.ID == d.by })
	life, hours := d.last.Distance, false
	if math.IsNaN(life) {
		life, hours = d.last.Hours, true
	}
	c := f.chain(d.comp, hours)
	if i < 0 || c == nil || math.IsNaN(life) {
		return 0, ""
	}
	if p, ok := c.last(f.rec.Services[i].At); ok {
		life -= p.life - p.face
	}
	return f.shown(life, hours)
}

func (f *view) shown(v float64, hours bool) (float64, string) {
	u := f.Book.Units.Distance
	if hours {
		u = "h"
	}
	return math.Round(unit.From(v, u)*10) / 10, u
}

// quantity is a value of metres or seconds in the unit that people read; nil for
// an unknown one.
func (f *view) quantity(v float64, hours bool) *unit.Quantity {
	if math.IsNaN(v) {
		return nil
	}
	value, u := f.shown(v, hours)
	return &unit.Quantity{Value: value, Unit: u}
}

// withinWords is "5,000 km, 100 h or 60 days": whichever comes first.
func (f *view) withinWords(l interval.Limits) string {
	var parts []string
	if l.Distance > 0 {
		parts = append(parts, f.amount(l.Distance, false))
	}
	if l.Hours > 0 {
		parts = append(parts, f.amount(l.Hours, true))
	}
	if t := calendarTime(l); t != "" {
		parts = append(parts, t)
	}
	return english.List("or", parts)
}

// calendarTime writes a time of months and days.
func calendarTime(l interval.Limits) string {
	var parts []string
	if l.Months > 0 {
		parts = append(parts, english.Plural(l.Months, "month"))
	}
	if l.Days > 0 {
		parts = append(parts, english.Days(l.Days))
	}
	return strings.Join(parts, " and ")
}

func (f *view) disputedText(c *chain, p chainPoint) string {
	text := fmt.Sprintf("The %s reads %s", c.name, f.face(c, p.face))
	if last, ok := c.last(p.at); ok {
		text += fmt.Sprintf(" after %s on %s", f.face(c, last.face), interval.DateOf(time.Unix(0, last.at), f.applied().zone))
	}
	if p.meant != "" {
		text += "; " + p.meant
	}
	return text
}
