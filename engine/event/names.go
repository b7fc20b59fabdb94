package event

import (
	"cmp"
	"maps"
	"slices"

	"telltale/rules/unit"
)

// PresentNames are the present names of components and meters, by their earlier ones.
type PresentNames struct{ components, meters map[string]string }

// Present are the present names of what the registration names; of nil there are none.
func (v *VehicleData) Present() (p PresentNames) {
	if v == nil {
		return p
	}
	for i := range v.Components {
		note(&p.components, v.Components[i].Name, v.Components[i].Was)
	}
	for i := range v.Meters {
		note(&p.meters, v.Meters[i].Name, v.Meters[i].Was)
	}
	return p
}

func note(to *map[string]string, name string, was []string) {
	for _, w := range was {
		if *to == nil {
			*to = map[string]string{}
		}
		(*to)[w] = name
	}
}

// None reports whether nothing was renamed.
func (p PresentNames) None() bool { return p.components == nil && p.meters == nil }

// Component is the present name of a component.
func (p PresentNames) Component(name string) string { return cmp.Or(p.components[name], name) }

// Meter is the present name of a meter.
func (p PresentNames) Meter(name string) string { return cmp.Or(p.meters[name], name) }

// values are a job's or a sample's meter values by the present names.
func (p PresentNames) values(q map[string]unit.Quantity) map[string]unit.Quantity {
	if p.meters == nil || q == nil {
		return q
	}
	out := map[string]unit.Quantity{}
	for _, name := range slices.Sorted(maps.Keys(q)) {
		to := p.Meter(name)
		if _, twice := q[to]; to == name || !twice {
			out[to] = q[name]
		}
	}
	return out
}

// Data is what an event says, by the present names; the event's own stays as it is.
func (p PresentNames) Data(data any) any {
	if p.None() {
		return data
	}
	switch d := data.(type) {
	case *ReadingData:
		c := *d
		c.Meter, c.Component = p.Meter(d.Meter), p.Component(d.Component)
		return &c
	case *MeterReplacedData:
		c := *d
		c.Meter = p.Meter(d.Meter)
		return &c
	case *ServiceData:
		c := *d
		c.Component, c.Meters = p.Component(d.Component), p.values(d.Meters)
		return &c
	case *SampleData:
		c := *d
		c.Component, c.Meters = p.Component(d.Component), p.values(d.Meters)
		return &c
	case *AnswerData:
		c := *d
		c.Component = p.Component(d.Component)
		return &c
	}
	return data
}
