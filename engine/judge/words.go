package judge

import (
	"math"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/rules/english"
	"telltale/rules/unit"
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
