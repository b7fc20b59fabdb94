package enter

import (
	"slices"
	"strconv"

	"telltale/engine/intake/job"
	"telltale/engine/whole"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/rules/english"
	"telltale/rules/unit"
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
	d.Hint = entry.LastOf(a.form, m)
	return d
}

// value is what was typed into a meter's field.
func (m meter) value() *unit.Quantity {
	return entry.MeterValue(m.Field, m.of)
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
