package job

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"testing"
	"time"

	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/why"
	"telltale/rules/unit"
)

var known = Known{
	Registered: &event.VehicleData{
		Zone:       "Europe/London",
		Meters:     []event.MeterDef{{Name: "clock", Kind: "distance"}, {Name: "left", Kind: "hours"}, {Name: "right", Kind: "hours"}},
		Components: []event.ComponentDef{{Name: "engine", Fluid: "15W-40"}, {Name: "axle"}},
	},
	Has: []why.Why{
		{Rule: "oil", Component: "engine", Due: &due.Reckoning{}},
		{Rule: "look", Component: "engine", Due: &due.Reckoning{}}, {Rule: "look", Component: "axle", Due: &due.Reckoning{}},
		{Rule: "test", Due: &due.Reckoning{}}, {Rule: "iron"},
	},
	Now: time.Date(2031, 7, 10, 9, 0, 0, 5, time.UTC), Latest: time.Date(2031, 7, 11, 9, 0, 0, 0, time.UTC),
}

// Each field that has an option is in the event of a job that says it.
func TestOptionsSetFields(t *testing.T) {
	j := Job{Vehicle: "van-1", Tasks: []string{"look"}, Said: map[string]string{}, Meters: []Meter{{Name: "odometer", Option: Odometer, Text: "7km"}}}
	for _, f := range intake.Fields(event.ServiceEvent) {
		switch {
		case f.Path == "component":
			j.Said[f.Path] = "axle"
		case f.Units != nil:
			j.Said[f.Path] = "3L"
		case f.Option != intake.Apart:
			j.Said[f.Path] = "x"
		}
	}
	ev, err := j.Event("2031-07-09", known)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range intake.Fields(event.ServiceEvent) {
		if reflect.ValueOf(f.In(ev.Data)).Elem().IsZero() {
			t.Errorf("nothing is said of %s", f.Path)
		}
	}
	if again, _ := j.Event("2031-07-09 12:00", known); !reflect.DeepEqual(again, ev) || !ev.Time.Equal(time.Date(2031, 7, 9, 11, 0, 0, 0, time.UTC)) {
		t.Errorf("at noon of the vehicle's zone it is another: %+v, %+v", ev, again)
	}
}

// What is left out is filled in.
func TestJobMadeWhole(t *testing.T) {
	j := Job{Vehicle: "van-1", Tasks: []string{"oil"}, Said: map[string]string{"fluid.filled": "4L"}, Meters: []Meter{{Name: "odometer", Option: Odometer, Text: "7km"}}}
	ev, err := j.Event("", known)
	want := &event.ServiceData{Tasks: []string{"oil"}, Component: "engine", Meters: map[string]unit.Quantity{"clock": {Value: 7, Unit: "km"}},
		Fluid: &event.FluidData{Name: "15W-40", Filled: &unit.Quantity{Value: 4, Unit: "L"}}}
	if err != nil || !reflect.DeepEqual(ev.Data, want) || !ev.Time.Equal(known.Now.Truncate(time.Second)) {
		t.Errorf("%v: %+v", err, ev)
	}
}

func TestErrors(t *testing.T) {
	bare := known
	bare.Registered = &event.VehicleData{Meters: known.Registered.Meters[1:]}
	for _, c := range []struct {
		k    Known
		task string
		said map[string]string
		m    Meter
		on   string
		want string
	}{
		{k: known, task: "oyl", want: `van-1 has no task "oyl" 1 [oil look test]`},
		{k: known, task: "oil", said: map[string]string{"component": "gearbox"}, want: `van-1 has no component "gearbox" 1 [engine axle]`},
		{k: known, task: "look", said: map[string]string{"fluid.flush": "yes"}, want: "the task is kept for several components: engine, axle 2 [engine axle]"},
		{k: bare, task: "test", said: map[string]string{"fluid.filled": "4L"}, want: "van-1 has no components in the register, so the fluid is nobody's 3 []"},
		{k: known, task: "test", said: map[string]string{"fluid.drained": "4L"}, want: "fluid was exchanged, but not said of what 4 [engine axle]"},
		{k: bare, task: "test", m: Meter{Name: "odometer", Option: Odometer, Text: "7km"}, want: "van-1 has no meter that counts distance 5 []"},
		{k: known, task: "test", m: Meter{Name: "hours", Option: Hours, Text: "7h"}, want: "van-1 has several meters that count hours 6 [left right]"},
		{k: known, task: "test", m: Meter{Name: "left", Option: "meter left=", Text: "7km"}, want: `meter left= "7km" is not hours with its unit 7 []`},
		{k: known, task: "oil", said: map[string]string{"fluid.filled": "4kg"}, want: `filled "4kg" is not a volume with its unit 7 []`},
		{k: known, task: "oil", on: "yesterday", want: `on "yesterday" is not a date 8 []`},
		{k: known, task: "oil", on: "2031-07-12", want: "on 2031-07-12 is still to come 9 []"},
	} {
		j := Job{Vehicle: "van-1", Tasks: []string{c.task}, Said: map[string]string{}}
		maps.Copy(j.Said, c.said)
		if c.m.Name != "" {
			j.Meters = []Meter{c.m}
		}
		_, err := j.Event(c.on, c.k)
		var e *Error
		if !errors.As(err, &e) || fmt.Sprintf("%v %d %v", e, e.Fault, e.Have) != c.want {
			t.Errorf("got %v, want %s", err, c.want)
		}
	}
}
