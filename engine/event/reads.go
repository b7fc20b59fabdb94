package event

import (
	"maps"
	"slices"

	"telltale/rules/unit"
)

// ReadIn is what an event says with each quantity in the unit of its kind in which
// somebody reads, where that is another than it was reported in; the event's own data stay
// as they are. Of what the system does not say, what was reported is kept.
func ReadIn(s unit.System, data any) any {
	if s == (unit.System{}) {
		return data
	}
	switch d := data.(type) {
	case *VehicleData:
		c := *d
		c.Components = slices.Clone(d.Components)
		for i := range c.Components {
			c.Components[i] = *c.Components[i].ReadIn(s)
		}
		return &c
	case *ReadingData:
		c, q := *d, unit.Quantity{Value: d.Value, Unit: d.Unit}.In(s)
		c.Value, c.Unit, c.ToppedUp = q.Value, q.Unit, quantityIn(s, d.ToppedUp)
		return &c
	case *MeterReplacedData:
		c := *d
		c.Last, c.First = d.Last.In(s), d.First.In(s)
		return &c
	case *ServiceData:
		c := *d
		c.Meters, c.ToppedUp = quantitiesIn(s, d.Meters), quantityIn(s, d.ToppedUp)
		if d.Fluid != nil {
			f := *d.Fluid
			f.Drained, f.Filled = quantityIn(s, f.Drained), quantityIn(s, f.Filled)
			c.Fluid = &f
		}
		return &c
	case *SampleData:
		c := *d
		c.Meters, c.FluidAge, c.AverageAge = quantitiesIn(s, d.Meters), quantityIn(s, d.FluidAge), quantityIn(s, d.AverageAge)
		c.Results = slices.Clone(d.Results)
		for i := range c.Results {
			c.Results[i] = *c.Results[i].ReadIn(s)
		}
		return &c
	case *AnswerData:
		c := *d
		c.ByDistance = quantityIn(s, d.ByDistance)
		return &c
	}
	return data
}

func quantityIn(s unit.System, q *unit.Quantity) *unit.Quantity {
	if q == nil {
		return nil
	}
	c := q.In(s)
	return &c
}

func quantitiesIn(s unit.System, all map[string]unit.Quantity) map[string]unit.Quantity {
	all = maps.Clone(all)
	for name, q := range all {
		all[name] = q.In(s)
	}
	return all
}

// ReadIn is the result, such as a flash point, in the unit in which somebody reads.
func (d ResultData) ReadIn(s unit.System) *ResultData {
	k, _ := unit.Of(d.Unit)
	to := s.Of(k)
	if to == "" || to == d.Unit {
		return &d
	}
	for _, at := range []**float64{&d.Value, &d.Below, &d.Above, &d.Average} {
		if *at != nil {
			v := unit.Quantity{Value: **at, Unit: d.Unit}.In(s).Value
			*at = &v
		}
	}
	d.Unit = to
	return &d
}

// ReadIn is the component with its capacity in the unit in which somebody reads.
func (c ComponentDef) ReadIn(s unit.System) *ComponentDef {
	c.Capacity = quantityIn(s, c.Capacity)
	return &c
}

// ReadIn is what the register says of a component in the units in which somebody reads.
func (f *Figures) ReadIn(s unit.System) *Figures {
	if f == nil {
		return nil
	}
	c := *f
	c.Capacity = quantityIn(s, f.Capacity)
	return &c
}
