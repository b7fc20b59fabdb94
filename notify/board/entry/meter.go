package entry

import (
	"math"

	"telltale/engine/whole"
	"telltale/notify/board/form"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// The largest values that meters show: metres and seconds.
const (
	MostMetres  = 1e10
	MostSeconds = 1e7 * 3600
)

// LastOf says what a meter showed last, and what it likely shows by now.
func LastOf(f *form.Form, m *whole.Meter) string {
	if len(m.Replaced) > 0 && m.Replaced[0].On >= m.ReadOn {
		return "A new instrument since " + f.Written(m.Replaced[0].On) + ", which began at " + english.Quantity(&m.Replaced[0].First) + "."
	}
	if m.Read == nil {
		return "Nobody has read it yet."
	}
	last := "Last " + english.Quantity(m.Read)
	if m.ReadOn != "" {
		last += " on " + f.Written(m.ReadOn)
	}
	if m.Now == nil || m.ReadOn == f.Today() {
		return last + "."
	}
	return last + "; about " + english.Quantity(&unit.Quantity{Value: math.Round(m.Now.Value/10) * 10, Unit: m.Now.Unit}) + " by now."
}

// MeterValue is what was typed into the field of a meter; nil where nothing was.
func MeterValue(d *form.Field, m *whole.Meter) *unit.Quantity {
	if m.Hours {
		return d.Quantity(unit.Time, MostSeconds)
	}
	return d.Quantity(unit.Distance, MostMetres)
}
