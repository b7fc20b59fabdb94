package main

import (
	"fmt"
	"strings"

	"telltale/engine"
	"telltale/engine/event"
)

// leftOut are the vehicles that are registered and not retired, and that the register
// neither names nor says to have been renamed, in order.
func leftOut(register []event.Event, all []engine.RegisteredVehicle) (keys []string) {
	named := map[string]bool{}
	for _, ev := range register {
		named[ev.Vehicle] = true
		for _, w := range ev.Data.(*event.VehicleData).Was {
			named[w] = true
		}
	}
	for _, v := range all {
		if !named[v.Vehicle] && !v.Retired {
			keys = append(keys, v.Vehicle)
		}
	}
	return keys
}

// leftOutHint is what to do about one that is left out.
func leftOutHint(key string) string {
	return fmt.Sprintf("if it has another key now, write `was: %s` under that; if it is gone, keep it with `retired: yes`", key)
}

// someKeys lists the first of them.
func someKeys(keys []string) string {
	const most = 20
	if n := len(keys) - most; n > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(keys[:most], ", "), n)
	}
	return strings.Join(keys, ", ")
}
