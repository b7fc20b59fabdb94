package sample

import (
	"fmt"
	"math"

	"telltale/engine/lab"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// consumed tells how much fluid was topped up since the last exchange, or since the
// first of those that are known, and for how far; "" where none was.
func (v *sampleVerdict) consumed() string {
	last := len(v.t.Steps) - 1
	from := v.t.LastExchange(last)
	litres := v.t.ToppedUp(from)
	if litres == 0 {
		return ""
	}
	since := "since the last exchange"
	if from < 0 {
		from, since = 0, "according to the records"
	}
	s := fmt.Sprintf("Topped up %s: %s", since, v.view.Litres(litres))
	run, kind := v.t.Lab[last].Distance-v.t.Lab[from].Distance, unit.Distance
	if math.IsNaN(run) {
		run, kind = v.t.Lab[last].Hours-v.t.Lab[from].Hours, unit.Time
	}
	if run > 0 {
		value, u := v.view.Shown(run, kind == unit.Time)
		per, base := v.view.PerWords(kind)
		s += fmt.Sprintf(" in %s, %s in %s", english.Quantity(&unit.Quantity{Value: value, Unit: u}), v.view.Litres(litres/run*base), per)
	}
	return s + "." + v.unhidden()
}

// unhidden tells what the sheet does not show of what was made.
func (v *sampleVerdict) unhidden() string {
	if n := (lab.Sheet{History: v.t.Lab}).Unhidden(); n > 1 {
		return fmt.Sprintf(" The fluid that was consumed took %.0f %% of the metals made since with it; the figures for metal made include them.", 100-100/n)
	}
	return ""
}
