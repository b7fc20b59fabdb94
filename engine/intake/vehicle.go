package intake

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // zones must not hang on the machine

	"telltale/engine/event"
	"telltale/rules/unit"
)

// checkVehicle also gives a vehicle without a name its subject for one, and drops
// empty lists, which mean the same as none.
func checkVehicle(ev event.Event, d *event.VehicleData) error {
	if d.Name == "" {
		d.Name = ev.Vehicle
	}
	d.Tags = someOf(d.Tags)
	d.Meters, d.Components, d.People = some(d.Meters), some(d.Components), some(d.People)
	var since error
	if d.InService != "" {
		since = checkDate("data.inService", d.InService)
	}
	return first(
		since,
		checkName("data.name", d.Name),
		checkOptional("data.kind", d.Kind),
		checkTags(d.Tags),
		checkZone(d.Zone),
		checkMeters(d.Meters),
		checkComponents(d),
		checkNames("data.people", d.People, maxPeople),
	)
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

func checkTags(tags map[string]string) error {
	if err := checkCount("data.tags", len(tags), maxTags); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(tags)) {
		if err := checkName("data.tags["+quote(name)+"]", name); err != nil {
			return err
		}
	}
	return nil
}

// checkZone asks for a name of the tz database; "Local" would hang on the machine.
func checkZone(zone string) error {
	if zone == "" || zone == "UTC" {
		return nil
	}
	_, err := time.LoadLocation(zone)
	if err != nil || zone == "Local" || strings.HasPrefix(zone, "posix/") || strings.HasPrefix(zone, "right/") {
		return refuse("data.zone", "%s is no time zone, wanted a name like \"Europe/London\"", quote(zone))
	}
	return nil
}

func checkMeters(meters []event.MeterDef) error {
	if err := checkCount("data.meters", len(meters), maxMeters); err != nil {
		return err
	}
	for i, m := range meters {
		at := fmt.Sprintf("data.meters[%d]", i)
		if err := checkName(at+".name", m.Name); err != nil {
			return err
		}
		if err := within(at+".kind", oneOf(m.Kind, "distance", "hours")); err != nil {
			return err
		}
		if slices.ContainsFunc(meters[:i], func(o event.MeterDef) bool { return o.Name == m.Name }) {
			return refuse(at+".name", "%s stands twice", quote(m.Name))
		}
	}
	return nil
}

func checkComponents(d *event.VehicleData) error {
	if err := checkCount("data.components", len(d.Components), maxParts); err != nil {
		return err
	}
	for i := range d.Components {
		c, at := &d.Components[i], fmt.Sprintf("data.components[%d]", i)
		c.Meters, c.Torque = some(c.Meters), someOf(c.Torque)
		if err := checkComponent(at, *c, d.Meters); err != nil {
			return err
		}
		if slices.ContainsFunc(d.Components[:i], func(o event.ComponentDef) bool { return o.Name == c.Name }) {
			return refuse(at+".name", "%s stands twice", quote(c.Name))
		}
	}
	return nil
}

// checkTorque asks for a source: a wrong torque strips a thread or loses a wheel.
func checkTorque(at string, c event.ComponentDef) error {
	if err := checkCount(at+".torque", len(c.Torque), maxTorques); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(c.Torque)) {
		here := at + ".torque[" + quote(name) + "]"
		if err := first(checkName(here, name), checkQuantity(here, "a torque", c.Torque[name], unit.Torque)); err != nil {
			return err
		}
		if c.Torque[name].Value == 0 {
			return refuse(here+".value", "0 tightens nothing, leave it out where it is unknown")
		}
	}
	if len(c.Torque) > 0 && c.Source == "" {
		return refuse(at+".source", "missing, a torque needs its source, such as the maker's manual and the page")
	}
	return nil
}

func checkComponent(at string, c event.ComponentDef, meters []event.MeterDef) error {
	err := first(
		checkName(at+".name", c.Name),
		checkName(at+".kind", c.Kind),
		checkOptional(at+".fluid", c.Fluid),
		checkNames(at+".meters", c.Meters, maxMeters),
		checkOptional(at+".source", c.Source),
		checkTorque(at, c),
	)
	if err != nil {
		return err
	}
	for i, name := range c.Meters {
		if !slices.ContainsFunc(meters, func(m event.MeterDef) bool { return m.Name == name }) {
			return refuse(fmt.Sprintf("%s.meters[%d]", at, i), "%s is not among data.meters", quote(name))
		}
	}
	if c.Capacity == nil {
		return nil
	}
	if err := checkQuantity(at+".capacity", "a capacity", *c.Capacity, unit.Volume); err != nil {
		return err
	}
	if c.Capacity.Value == 0 {
		return refuse(at+".capacity.value", "0 holds nothing, leave capacity out where it is unknown")
	}
	return nil
}
