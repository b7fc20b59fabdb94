package intake

import (
	"maps"
	"slices"

	"telltale/engine/event"
	"telltale/rules/unit"
)

func checkReading(d *event.ReadingData) error {
	return first(
		checkName("data.meter", d.Meter),
		checkQuantity("data", "a reading", unit.Quantity{Value: d.Value, Unit: d.Unit}, unit.Distance, unit.Time),
	)
}

func checkMeterReplaced(_ event.Event, d *event.MeterReplacedData) error {
	err := first(
		checkName("data.meter", d.Meter),
		checkGiven("data.last", d.Last),
		checkGiven("data.first", d.First),
		checkQuantity("data.last", "a meter", d.Last, unit.Distance, unit.Time),
		checkQuantity("data.first", "a meter", d.First, unit.Distance, unit.Time),
	)
	if err != nil {
		return err
	}
	a, _ := unit.Of(d.Last.Unit)
	if b, _ := unit.Of(d.First.Unit); a != b {
		return refuse("data.first.unit", "%q measures %s, the old meter's %q %s", d.First.Unit, b, d.Last.Unit, a)
	}
	return nil
}

// checkValues checks the meter values of a service or a sample.
func checkValues(meters map[string]unit.Quantity) error {
	if err := checkCount("data.meters", len(meters), maxMeters); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(meters)) {
		at := "data.meters[" + quote(name) + "]"
		if err := first(
			checkName(at, name),
			checkQuantity(at, "a meter", meters[name], unit.Distance, unit.Time),
		); err != nil {
			return err
		}
	}
	return nil
}
