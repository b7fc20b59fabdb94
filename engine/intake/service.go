package intake

import (
	"telltale/engine/event"
	"telltale/rules/unit"
)

func checkService(_ event.Event, d *event.ServiceData) error {
	d.Tasks, d.Meters = some(d.Tasks), someOf(d.Meters)
	if d.Tasks == nil && d.Meters == nil && d.Fluid == nil && !d.Filter && d.Note == "" {
		return refuse("data", "nothing was done, wanted tasks, meters, fluid, filter or a note")
	}
	var f event.FluidData
	if d.Fluid != nil {
		f = *d.Fluid
	}
	return first(
		checkNames("data.tasks", d.Tasks, maxTasks),
		checkOptional("data.component", d.Component),
		checkValues(d.Meters),
		checkOptional("data.fluid.name", f.Name),
		checkVolume("data.fluid.drained", f.Drained),
		checkVolume("data.fluid.filled", f.Filled),
		checkOptional("data.by", d.By),
	)
}

func checkVolume(at string, q *unit.Quantity) error {
	if q == nil {
		return nil
	}
	return checkQuantity(at, "a fluid", *q, unit.Volume)
}
