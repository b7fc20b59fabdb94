package record

import (
	"fmt"
	"strings"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// ToppedUpInto is the component of a registered vehicle into which the work topped up
// fluid: the one that it names, the only one that holds the fluid it names, or the only
// one that holds any. It is nil where nothing was topped up; why then says what keeps it
// from being used, as who reads so, "" where there is nothing to use.
func ToppedUpInto(d *event.ServiceData, v *event.VehicleData, reads unit.System) (into *event.ComponentDef, why string) {
	if !(event.Litres(d.ToppedUp) > 0) {
		return nil, ""
	}
	if into = toppedUp(d, v); into == nil {
		return nil, fmt.Sprintf("the %s topped up are not used: name the component that they went into%s", d.ToppedUp.In(reads), oneOf(v))
	}
	if capacity := event.Litres(into.Capacity); event.Litres(d.ToppedUp) >= capacity {
		return nil, fmt.Sprintf("the %s topped up are not used: the %s holds no more than %s; was its fluid exchanged?", d.ToppedUp.In(reads), into.Name, into.Capacity.In(reads))
	}
	return into, ""
}

func toppedUp(d *event.ServiceData, v *event.VehicleData) *event.ComponentDef {
	if d.Component != "" {
		return v.ComponentNamed(d.Component)
	}
	fluid := ""
	if d.Fluid != nil {
		fluid = d.Fluid.Name
	}
	var found *event.ComponentDef
	for i := range v.Components {
		switch c := &v.Components[i]; {
		case c.Fluid == "" && c.Capacity == nil || fluid != "" && c.Fluid != fluid:
		case found != nil:
			return nil
		default:
			found = c
		}
	}
	return found
}

// oneOf lists what could be named.
func oneOf(v *event.VehicleData) string {
	var names []string
	for i := range v.Components {
		names = append(names, v.Components[i].Name)
	}
	if names == nil {
		return ", once one is registered"
	}
	return ", one of " + strings.Join(names, ", ")
}
