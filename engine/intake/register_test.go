package intake

import (
	"os"
	"strings"
	"testing"
	"time"
)

func TestRegisterFaults(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "vehicles.yaml:1:1: the file is empty"},
		{"no vehicles", "vehicle: {}", "vehicles.yaml:1:1: unknown key \"vehicle\" in the register\n    vehicle: {}\n    ^^^^^^^\nhint: did you mean `vehicles`?"},
		{"unknown key", "vehicles:\n  bus-1: {kind: bus, colour: red}", "vehicles.yaml:2:22: unknown key \"colour\" in vehicle bus-1"},
		{"meter kind", "vehicles:\n  bus-1: {kind: bus, meters: {odometer: length}}", "vehicles.yaml:2:41: meter odometer must be distance or hours, not \"length\""},
		{"capacity", "vehicles:\n  bus-1: {kind: bus, components: {engine: {kind: engine, capacity: 8 km}}}", "vehicles.yaml:2:68: capacity: 8 km is a distance"},
		{"torque", "vehicles:\n  bus-1: {kind: bus, components: {engine: {kind: engine, torque: {drain plug: 35 Nm}, source: the manual}}}", "vehicles.yaml:2:82: torque drain plug: unknown unit \"Nm\"\n      bus-1: {kind: bus, components: {engine: {kind: engine, torque: {drain plug: 35 Nm}, source: the manual}}}\n                                                                                     ^^\nhint: did you mean `N m`?"},
		{"torque without source", "vehicles:\n  bus-1: {kind: bus, components: {engine: {kind: engine, torque: {drain plug: 35 N m}}}}", "vehicles.yaml:2:66: torque of engine has no source"},
		{"zone", "vehicles:\n  bus-1: {kind: bus, zone: Europe/Larkfell}", "vehicles.yaml:2:28: vehicle bus-1: zone: \"Europe/Larkfell\" is not a time zone"},
		{"twice", "vehicles:\n  bus-1: {kind: bus}\n  bus-1: {kind: van}", "vehicles.yaml:3:3: vehicles names \"bus-1\" twice"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Register("vehicles.yaml", []byte(c.text), time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC))
			if err == nil || !strings.HasPrefix(err.Error(), c.want) {
				t.Errorf("got %v\nwant %s…", err, c.want)
			}
		})
	}
}

func TestRegisterOfTheSampleFleet(t *testing.T) {
	text, err := os.ReadFile("../../samples/vehicles.yaml")
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	events, err := Register("vehicles.yaml", text, at)
	if err != nil {
		t.Fatal(err)
	}
	if len(events) != 19 {
		t.Errorf("%d vehicles, want 12 minibuses, 4 vans, 2 gritters and a library", len(events))
	}
	again, _ := Register("vehicles.yaml", text, at)
	for i := range events {
		if events[i].ID != again[i].ID || events[i].Digest != again[i].Digest {
			t.Errorf("%s: the same register gives another event", events[i].Vehicle)
		}
	}
}
