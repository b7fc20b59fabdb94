package intake

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
	"telltale/rules/zone"
)

// checkVehicle also gives a vehicle without a name its subject for one, and drops
// empty lists, which mean the same as none.
func checkVehicle(ev event.Event, d *event.VehicleData) error {
	return first(append(vehicleFaults(ev, d), nameFaults(d)...)...)
}

// nameFaults are those of VIN and earlier names, which a register says by itself, at their
// places.
func nameFaults(d *event.VehicleData) []error {
	return []error{
		within("data.vin", checkVIN(d.VIN)),
		checkWas("data.components", len(d.Components), func(i int) (string, []string) { return d.Components[i].Name, d.Components[i].Was }),
		checkWas("data.meters", len(d.Meters), func(i int) (string, []string) { return d.Meters[i].Name, d.Meters[i].Was }),
	}
}

// vehicleFaults are all else that is wrong with a registration, nil among them where nothing is.
func vehicleFaults(ev event.Event, d *event.VehicleData) []error {
	if d.Name == "" {
		d.Name = ev.Vehicle
	}
	d.Tags = someOf(d.Tags)
	d.Meters, d.Components, d.People, d.Was, d.Reads = some(d.Meters), some(d.Components), some(d.People), some(d.Was), some(d.Reads)
	for i := range d.Components {
		c := &d.Components[i]
		c.Meters, c.Torque, c.Was = some(c.Meters), someOf(c.Torque), some(c.Was)
	}
	for i := range d.Meters {
		d.Meters[i].Was = some(d.Meters[i].Was)
	}
	return []error{
		checkOptionalDate("data.inService", d.InService),
		checkName("data.name", d.Name),
		checkOptional("data.kind", d.Kind),
		checkMap("data.tags", d.Tags, maxTags, func(string, string) error { return nil }),
		checkZone(d.Zone),
		checkReads(d.Reads),
		checkList("data.meters", d.Meters, maxMeters, ".name", func(m event.MeterDef) string { return m.Name }, checkMeter),
		checkList("data.components", d.Components, maxParts, ".name", func(c event.ComponentDef) string { return c.Name },
			func(at string, c event.ComponentDef) error { return checkComponent(at, c, d.Meters) }),
		checkNames("data.people", d.People, maxPeople),
		checkNames("data.was", d.Was, maxWas),
		checkOptional("data.key", d.Key),
		checkOptional("data.plate", d.Plate),
	}
}

// some returns nil for an empty list, so that it equals one that was left out.
func some[T any](list []T) []T {
	if len(list) == 0 {
		return nil
	}
	return list
}

// someOf is some for maps.
func someOf[V any](m map[string]V) map[string]V {
	if len(m) == 0 {
		return nil
	}
	return m
}

// checkZone asks for a name of the tz database; "Local" would hang on the machine.
func checkZone(name string) error {
	if name == "" || name == "UTC" {
		return nil
	}
	_, err := time.LoadLocation(name)
	if err != nil || name == "Local" || strings.HasPrefix(name, "posix/") || strings.HasPrefix(name, "right/") {
		return refuse("data.zone", "%s is not a time zone; expected a name like %q", quote(name), cmp.Or(zone.Spoken(name), "Europe/London"))
	}
	return nil
}

func checkReads(units []string) error {
	if _, err := unit.SystemOf(units); err != nil {
		return refuse("data.reads", "%v", err)
	}
	return nil
}

func checkMeter(at string, m event.MeterDef) error {
	return first(checkName(at+".name", m.Name), within(at+".kind", oneOf(m.Kind, "distance", "hours")), checkNames(at+".was", m.Was, maxWas))
}

// checkTorque asks for a source: a wrong torque strips a thread or loses a wheel.
func checkTorque(at string, c event.ComponentDef) error {
	err := checkMap(at+".torque", c.Torque, maxTorques, func(at string, q unit.Quantity) error {
		return checkSome(at, "a torque", "0 tightens nothing; leave it out if it is unknown", q, unit.Torque)
	})
	if err == nil && len(c.Torque) > 0 && c.Source == "" {
		return refuse(at+".source", "missing; a torque needs its source, such as the maker's manual and the page")
	}
	return err
}

func checkComponent(at string, c event.ComponentDef, meters []event.MeterDef) error {
	err := first(
		checkName(at+".name", c.Name),
		checkName(at+".kind", c.Kind),
		checkOptional(at+".fluid", c.Fluid),
		checkNames(at+".meters", c.Meters, maxMeters),
		checkOptional(at+".source", c.Source),
		checkNames(at+".was", c.Was, maxWas),
		checkTorque(at, c),
		checkOptionalDate(at+".inService", c.InService),
	)
	if err != nil {
		return err
	}
	for i, name := range c.Meters {
		if !slices.ContainsFunc(meters, func(m event.MeterDef) bool { return m.Name == name }) {
			return refuse(fmt.Sprintf("%s.meters[%d]", at, i), "%s is not one of data.meters", quote(name))
		}
	}
	if c.Capacity == nil {
		return nil
	}
	return checkSome(at+".capacity", "a capacity", "0 holds nothing; leave capacity out if it is unknown", *c.Capacity, unit.Volume)
}
