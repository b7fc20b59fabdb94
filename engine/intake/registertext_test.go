package intake_test

import (
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules/unit"
)

// TestRegisterText: what is written as a register is read as the same registrations.
func TestRegisterText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[A-Za-z0-9"'#:{}\[\],&*!|>%@ .-]{0,12}[A-Za-z0-9'#:}]`)
		some := rapid.OneOf(rapid.SampledFrom([]string{"yes", "no", "null", "1234", "0x1F", "2031-01-01", "~", "AB12 CDE", "12:30", "a: b", "- a"}), text)
		var events []event.Event
		for _, key := range rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-z0-9][A-Za-z0-9 -]{0,8}[A-Za-z0-9]`), 1, 4, rapid.ID).Draw(t, "keys") {
			d := &event.VehicleData{Name: some.Draw(t, "name"), Kind: some.Draw(t, "kind"), InService: "2031-02-10", Zone: "Europe/London",
				Tags: map[string]string{"bay": some.Draw(t, "bay")}, People: []string{"desk"}, Retired: rapid.Bool().Draw(t, "retired"),
				Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}}
			if rapid.Bool().Draw(t, "with an engine") {
				d.Components = []event.ComponentDef{{Name: "engine", Kind: some.Draw(t, "kind of engine"), Fluid: "5W-30", Source: "the manual",
					Capacity: &unit.Quantity{Value: rapid.Float64Range(0.1, 99).Draw(t, "capacity"), Unit: "qt"},
					Torque:   map[string]unit.Quantity{"drain plug": {Value: 35, Unit: "N m"}}, Meters: []string{"odometer"}}}
			}
			ev, err := intake.At(event.Event{Kind: event.VehicleEvent, Vehicle: key, Data: d}, time.Unix(0, 0))
			if err != nil {
				t.Skip(err)
			}
			events = append(events, ev)
		}
		written, err := intake.RegisterText(events, false)
		if err != nil {
			t.Fatal(err)
		}
		if alone, err := intake.RegisterText(events, true); err != nil || "vehicles:\n"+string(alone) != string(written) {
			t.Errorf("the entries alone are\n%s(%v)", alone, err)
		}
		read, err := intake.Register("vehicles.yaml", written, time.Unix(0, 0))
		if err != nil || !reflect.DeepEqual(read, events) {
			t.Errorf("%s\nread as %+v (%v)\nwant %+v", written, read, err, events)
		}
	})
}
