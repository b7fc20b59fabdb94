package enter

import (
	"math"
	"slices"
	"strconv"

	"telltale/engine/intake/job"
	"telltale/engine/whole"
	"telltale/notify/board/form"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// The largest values that meters show: metres and seconds.
const (
	mostMetres  = 1e10
	mostSeconds = 1e7 * 3600
)

// meter is the field of a meter.
type meter struct {
	*form.Field
	of *whole.Meter
}

// meters are the fields of all meters of a vehicle, each with its last value beside it.
func (a *asked) meters() (out []meter) {
	for i := range a.is.Meters {
		m := &a.is.Meters[i]
		out = append(out, meter{a.meterField("meter"+strconv.Itoa(i), english.Capital(m.Name), m), m})
	}
	return out
}

// meterField is a field for a value of a meter.
func (a *asked) meterField(name, label string, m *whole.Meter) *form.Field {
	d := a.form.Field(name, label).In(a.form.OwnFirst(unit.Distance)...)
	if m.Hours {
		d.In("h")
	}
	d.Hint = a.lastOf(m)
	return d
}

// lastOf says what a meter showed last, and what it likely shows by now.
func (a *asked) lastOf(m *whole.Meter) string {
	if len(m.Replaced) > 0 && m.Replaced[0].On >= m.ReadOn {
		return "A new instrument since " + a.form.Written(m.Replaced[0].On) + ", which began at " + english.Quantity(&m.Replaced[0].First) + "."
	}
	if m.Read == nil {
		return "Nobody has read it yet."
	}
	last := "Last " + english.Quantity(m.Read)
	if m.ReadOn != "" {
		last += " on " + a.form.Written(m.ReadOn)
	}
	if m.Now == nil || m.ReadOn == a.form.Today() {
		return last + "."
	}
	return last + "; about " + english.Quantity(&unit.Quantity{Value: math.Round(m.Now.Value/10) * 10, Unit: m.Now.Unit}) + " by now."
}

// value is what was typed into a meter's field.
func (m meter) value() *unit.Quantity {
	if m.of.Hours {
		return m.Quantity(unit.Time, mostSeconds)
	}
	return m.Quantity(unit.Distance, mostMetres)
}

// shown are the values that were typed.
func shown(all []meter) (out []job.Meter) {
	for _, m := range all {
		if q := m.value(); q != nil {
			out = append(out, job.Meter{Name: m.of.Name, Text: form.Typed(q)})
		}
	}
	return out
}

// typedIn reports whether something was typed into one of them.
func typedIn(all []meter) bool {
	return slices.ContainsFunc(all, func(m meter) bool { return m.Value() != "" })
}

// fieldsOf are the fields, for a template.
func fieldsOf(all []meter) (out []*form.Field) {
	for _, m := range all {
		out = append(out, m.Field)
	}
	return out
}

// meterOf is the field of the meter of that name; nil where there is none.
func meterOf(all []meter, name string) *form.Field {
	for _, m := range all {
		if m.of.Name == name {
			return m.Field
		}
	}
	return nil
}
