package intake

import (
	"telltale/engine"
	"telltale/rules/unit"
)

func checkService(_ engine.Event, d *engine.ServiceData) error {
	d.Tasks, d.Meters = some(d.Tasks), someOf(d.Meters)
	if d.Tasks == nil && d.Meters == nil && d.Fluid == nil && !d.Filter && d.Note == "" {
		return refuse("data", "nothing was done, wanted tasks, meters, fluid, filter or a note")
	}
	return first(
		checkNames("data.tasks", d.Tasks, maxTasks),
		checkOptional("data.component", d.Component),
		checkValues(d.Meters),
		checkFluid(d),
		checkOptional("data.by", d.By),
	)
}

func checkFluid(d *engine.ServiceData) error {
	f := d.Fluid
	if f == nil {
		return nil
	}
	if err := checkOptional("data.fluid.name", f.Name); err != nil {
		return err
	}
	return first(checkVolume("data.fluid.drained", f.Drained), checkVolume("data.fluid.filled", f.Filled))
}

func checkVolume(at string, q *unit.Quantity) error {
	if q == nil {
		return nil
	}
	return checkQuantity(at, "a fluid", *q, unit.Volume)
}
