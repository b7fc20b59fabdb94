package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Chosen writes metres that somebody chose and wrote into a rule, or seconds in hours:
// with no more digits than it takes in km or in mi, "3,000 mi".
func (v *View) Chosen(value float64, hours bool) string {
	if hours {
		return v.Amount(value, true)
	}
	return v.writer().Stated(value, unit.Distance, english.Digits(value, "km", "mi"))
}

// Amount writes metres in the reader's distance, or seconds in hours.
func (v *View) Amount(value float64, hours bool) string {
	return v.writer().Amount(value, meterKind(hours))
}

func meterKind(hours bool) unit.Kind {
	if hours {
		return unit.Time
	}
	return unit.Distance
}

// Spans writes a text of the view's in its units, and lists the quantities of which it
// speaks.
func (v *View) Spans(words func() string) (string, []english.Span) {
	was := v.Reader.Marked
	v.Reader.Marked = true
	defer func() { v.Reader.Marked = was }()
	return english.Written(words(), v.Units())
}

// Typed writes metres or seconds as they are typed into a command.
func (v *View) Typed(value float64, hours bool) string {
	return v.writer().Typed(value, meterKind(hours))
}

// face writes a value as the meter of the chain shows it.
func (v *View) face(c *record.Chain, value float64) string { return v.Amount(value, c.Hours) }

// TaskWords fills in what a task says when it moves.
func (v *View) TaskWords(t *alarm.Transition, d *Due, to int, causes []event.ID) {
	t.Title = d.Title()
	t.Statutory = d.Task != nil && d.Task.Statutory
	t.Message = t.Title + ": " + v.DueWords(d)
	if to == 0 {
		t.Message = t.Title + ": not due; " + v.DueWords(d)
		if d.Task != nil && d.Task.Reported {
			t.Message = t.Title + ": " + v.DueWords(d) + " any more"
		}
	}
	t.Due = v.duePoint(d)
	t.Evidence = v.taskEvidence(d)
	ids := causes
	from := []event.ID{d.By, d.read.ID}
	if w := d.WornBy(d.Limit); w != nil {
		from = append(from, w.Event)
	}
	for _, p := range d.pulls {
		from = append(from, p.By)
	}
	for _, r := range d.Defects {
		from = append(from, r.ID)
	}
	for _, id := range from {
		if id != (event.ID{}) && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	t.Events = ids
	if to == 0 {
		return
	}
	t.Cautions = d.Cautions()
	t.OwnCautions = v.Book.Own(t.Cautions)
	if d.Task != nil {
		t.Source = d.Task.Sources.Of("every " + d.Limit.String())
	}
}

// DueWords says which limit decides and how far past or ahead it is.
func (v *View) DueWords(d *Due) string {
	if d.Task != nil && d.Task.Reported {
		return d.defectWords()
	}
	if missing := d.wornMissing(); d.Waiting && len(d.Worn) > 0 {
		return "the next date is not known yet: " + missing
	}
	if d.Waiting {
		return "counts from the first reading; none has come yet"
	}
	if d.NoHistory {
		return "no record of when it was last done; do it now, or enter the date"
	}
	parts := []string{v.limitWords(d)}
	if d.Untold != "" {
		parts = v.untoldWords(d)
	}
	byDate := d.Limit == interval.ByTime || d.Postponed != nil
	waits := byDate && d.Point.HasDate && d.Sure && d.Likely >= d.Point.Date // the date comes first
	switch {
	case d.Reached && d.Sure:
		parts = v.reachedWords(d)
	case d.Stage <= interval.Soon && d.Sure && !waits:
		reach := v.Reach(d)
		parts = append(parts, fmt.Sprintf("likely about %s (%s)", reach[1], between(reach)))
	}
	if worn := v.WornOf(d); worn != "" {
		parts = append(parts, worn)
	}
	if d.Postponed != nil {
		parts = append(parts, PostponedBy(d.Postponed))
	}
	for _, p := range v.PulledIn(d) {
		parts = append(parts, p.Words())
	}
	return strings.Join(parts, "; ")
}

// reachedWords say that a meter limit lies behind by now, going by the usage, beside the
// date where that comes first.
func (v *View) reachedWords(d *Due) []string {
	past := fmt.Sprintf("probably already past %s (about %s); please read the %s", v.Place(d.first, d.at), v.Reach(d)[1], d.first.Name)
	if d.Limit == interval.ByTime || d.Stage > interval.Soon {
		return []string{v.limitWords(d), past}
	}
	return []string{past}
}

func (v *View) limitWords(d *Due) string {
	if d.Limit == interval.ByTime {
		n := int(d.Past)
		switch {
		case d.Stage == interval.Overdue:
			return fmt.Sprintf("overdue, was due on %s, %s ago", d.Point.Date, english.Days(n))
		case n == 0:
			return "due today, " + d.Point.Date.String()
		case n > 0:
			return fmt.Sprintf("was due on %s, %s ago", d.Point.Date, english.Days(n))
		}
		return fmt.Sprintf("due on %s, in %s", d.Point.Date, english.Days(-n))
	}
	if d.meter == nil {
		return "the next date is not known yet"
	}
	hours := d.meter.Hours
	at := d.Point.Distance
	if hours {
		at = d.Point.Hours
	}
	due, now := v.Place(d.meter, at), v.reads(d.meter, d.read, at)
	switch {
	case d.Stage == interval.Overdue:
		return fmt.Sprintf("overdue by %s, was due at %s; %s", v.Amount(d.Past, hours), due, now)
	case d.Past >= 0:
		return fmt.Sprintf("due at %s; %s", due, now)
	}
	return fmt.Sprintf("due at %s, in %s; %s", due, v.Amount(-d.Past, hours), now)
}

func (v *View) taskEvidence(d *Due) []word.Evidence {
	var out []word.Evidence
	if d.Last != nil && d.FollowUp == nil {
		e := word.Evidence{Of: "last done", Note: d.Last.Date.String()}
		if d.Last.Estimated {
			e.Note += ", meter value estimated"
		}
		e.Value, e.Unit = v.faceDone(d)
		out = append(out, e)
	}
	if w := d.WornBy(d.Limit); w != nil {
		out = append(out, word.Evidence{Of: w.Measure.Name, Value: w.Value, Unit: w.Measure.Unit, Note: "measured on " + w.MeasuredOn})
	}
	if d.meter != nil {
		value, u := v.Shown(d.read.Face, d.meter.Hours)
		out = append(out, word.Evidence{Of: d.meter.Name, Value: value, Unit: u})
		if d.Untold == "" {
			past, u := v.Shown(d.Past, d.meter.Hours)
			out = append(out, word.Evidence{Of: "past the due point", Value: past, Unit: u})
		}
	}
	if d.Limit == interval.ByTime {
		out = append(out, word.Evidence{Of: "past the due date", Value: d.Past, Unit: "days"})
	}
	return out
}

// faceDone is what the meter showed when the task was last done: people know the
// face of the instrument that was in then.
func (v *View) faceDone(d *Due) (float64, string) {
	i := slices.IndexFunc(v.Rec.Services, func(s record.Service) bool { return s.ID == d.By })
	life, hours := d.Last.Distance, false
	if math.IsNaN(life) {
		life, hours = d.Last.Hours, true
	}
	c := v.DueChain(d, hours)
	if i < 0 || c == nil || math.IsNaN(life) {
		return 0, ""
	}
	if p, ok := c.Last(v.Rec.Services[i].At); ok {
		life -= p.Life - p.Face
	}
	return v.Shown(life, hours)
}

// Shown is a value of metres or seconds in the unit that people read, to a tenth.
func (v *View) Shown(value float64, hours bool) (float64, string) {
	u := v.Units().Distance
	if hours {
		u = "h"
	}
	return math.Round(unit.From(value, u)*10) / 10, u
}

// Quantity is a value of metres or seconds in the unit that people read; nil for
// an unknown one.
func (v *View) Quantity(base float64, hours bool) *unit.Quantity {
	if math.IsNaN(base) {
		return nil
	}
	value, u := v.Shown(base, hours)
	return &unit.Quantity{Value: value, Unit: u}
}

// Missing are the names of what a rule lacked, as people read of the vehicle.
func (v *View) Missing(names []string) []string {
	out := slices.Clone(names)
	for i, name := range out {
		out[i] = english.Degrees(name, v.Units())
	}
	return out
}

// Told is a transition as whoever asks reads it; as it was said where nobody names units, or
// to a program: then it has its quantities beside its texts.
func (v *View) Told(t *alarm.Transition) *alarm.Transition {
	if v.Based || v.Said() == (unit.System{}) {
		return t
	}
	c := *t.Worded(v.Units())
	c.Evidence = slices.Clone(c.Evidence)
	for i := range c.Evidence {
		c.Evidence[i] = c.Evidence[i].In(v.Units())
	}
	return &c
}

// WithinWords is "5,000 km, 100 h or 60 days": whichever comes first.
func (v *View) WithinWords(l interval.Limits) string {
	var parts []string
	if l.Distance > 0 {
		parts = append(parts, v.Chosen(l.Distance, false))
	}
	if l.Hours > 0 {
		parts = append(parts, v.Amount(l.Hours, true))
	}
	if t := CalendarTime(l); t != "" {
		parts = append(parts, t)
	}
	return english.List("or", parts)
}

// CalendarTime writes a time of months and days.
func CalendarTime(l interval.Limits) string {
	var parts []string
	if l.Months > 0 {
		parts = append(parts, english.Plural(l.Months, "month"))
	}
	if l.Days > 0 {
		parts = append(parts, english.Days(l.Days))
	}
	return strings.Join(parts, " and ")
}
