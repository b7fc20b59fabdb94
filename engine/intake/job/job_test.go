package job

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"testing"
	"time"

	"telltale/engine/alarm"
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
		case f.Path == "validUntil":
			j.Said[f.Path] = "2032-03-14"
		case f.Units != nil:
			j.Said[f.Path] = "3L"
		case f.Option != intake.Apart:
			j.Said[f.Path] = "x"
		}
	}
	ev, err := single(j.Events("2031-07-09", known))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range intake.Fields(event.ServiceEvent) {
		if reflect.ValueOf(f.In(ev.Data)).Elem().IsZero() {
			t.Errorf("nothing is said of %s", f.Path)
		}
	}
	if again, _ := single(j.Events("2031-07-09 12:00", known)); !reflect.DeepEqual(again, ev) || !ev.Time.Equal(time.Date(2031, 7, 9, 11, 0, 0, 0, time.UTC)) {
		t.Errorf("at noon of the vehicle's zone it is another: %+v, %+v", ev, again)
	}
}

func single(list []event.Event, err error) (event.Event, error) {
	if len(list) != 1 {
		return event.Event{}, errors.Join(err, fmt.Errorf("%d events", len(list)))
	}
	return list[0], err
}

// Meter values alone are a reading of each, written as people write numbers.
func TestReadings(t *testing.T) {
	j := Job{Vehicle: "van-1", Said: map[string]string{}, Meters: []Meter{{Name: "odometer", Option: Odometer, Text: "157,500mi"}, {Name: "left", Option: "meter left=", Text: "913h"}}}
	list, err := j.Events("2031-07-09", known)
	if err != nil || len(list) != 2 {
		t.Fatal(list, err)
	}
	for i, want := range []event.ReadingData{{Meter: "clock", Value: 157500, Unit: "mi"}, {Meter: "left", Value: 913, Unit: "h"}} {
		if !reflect.DeepEqual(list[i].Data, &want) {
			t.Errorf("got %+v, want %+v", list[i].Data, want)
		}
	}
	if list[0].ID == list[1].ID {
		t.Error("two readings have one identity")
	}
}

// A task, a vehicle and a component are meant by what people call them.
func TestMeant(t *testing.T) {
	tasks := []Task{{"engine oil", "Change the engine oil", "engine"}, {"leak check", "Look for leaks", "engine"}, {"leak check", "Look for leaks", "axle"}, {"test", "The test", ""}, {"tests", "The test", ""}}
	for text, want := range map[string]string{
		"engine oil": "engine oil", "Change the engine oil": "engine oil", "ENGINE-OIL": "engine oil", "look for leaks": "leak check",
		"the test": `"the test" may be any of test, tests`, "change the engine oyl": `v has no task "change the engine oyl": engine oil`, "brakes": `v has no task "brakes": `,
	} {
		got, err := Meant("v", tasks, text)
		if e := (*Error)(nil); errors.As(err, &e) {
			if got = e.Error(); e.Fault == NoSuchName {
				got += ": " + e.Near
			}
		}
		if got != want {
			t.Errorf("%q means %s, want %s", text, got, want)
		}
	}
	fleet := map[string]*event.VehicleData{"LV-51-ABC": {Name: "Pick-up"}, "bus-07": {Name: "Bus 7"}, "empty": nil}
	for text, want := range map[string]string{"lv51 abc": "LV-51-ABC", "pick up": "LV-51-ABC", "bus 7": "bus-07", "bus-07": "bus-07"} {
		if got, err := Vehicle(fleet, text); got != want || err != nil {
			t.Errorf("%q means %s (%v), want %s", text, got, err, want)
		}
	}
}

// What is left out is filled in.
func TestJobMadeWhole(t *testing.T) {
	j := Job{Vehicle: "van-1", Tasks: []string{"oil"}, Said: map[string]string{"fluid.filled": "4L"}, Meters: []Meter{{Name: "odometer", Option: Odometer, Text: "7km"}}}
	ev, err := single(j.Events("", known))
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
		{k: known, task: "oyl", want: `van-1 has no task "oyl", near "oil" 1 [look oil test]`},
		{k: known, task: "oil", said: map[string]string{"component": "gearbox"}, want: `van-1 has no component "gearbox", near "" 1 [axle engine]`},
		{k: known, task: "look", said: map[string]string{"fluid.flush": "yes"}, want: `which component? The task applies to engine and axle, near "" 2 [engine axle]`},
		{k: bare, task: "test", said: map[string]string{"fluid.filled": "4L"}, want: `van-1 has no components in the register, so the fluid belongs to none, near "" 3 []`},
		{k: known, task: "test", said: map[string]string{"fluid.drained": "4L"}, want: `which component? van-1 has engine and axle, near "" 4 [engine axle]`},
		{k: bare, task: "test", m: Meter{Name: "odometer", Option: Odometer, Text: "7km"}, want: `van-1 has no meter that counts distance, near "" 5 []`},
		{k: known, task: "test", m: Meter{Name: "hours", Option: Hours, Text: "7h"}, want: `van-1 has several meters that count hours, near "" 6 [left right]`},
		{k: known, task: "test", m: Meter{Name: "left", Option: "meter left=", Text: "7km"}, want: `meter left= "7km" is not hours with its unit, near "" 7 []`},
		{k: known, task: "oil", said: map[string]string{"fluid.filled": "4kg"}, want: `filled "4kg" is not a volume with its unit, near "" 7 []`},
		{k: known, task: "oil", on: "yesterday", want: `on "yesterday" is not a date, near "" 8 []`},
		{k: known, task: "oil", on: "2031-07-12", want: `on 2031-07-12 is in the future, near "" 9 []`},
		{k: known, want: `what was done?, near "" 10 []`},
		{k: known, said: map[string]string{"by": "ines"}, m: Meter{Name: "odometer", Option: Odometer, Text: "7km"}, want: `what was done?, near "" 10 []`},
		{k: known, m: Meter{Name: "odometer", Option: Odometer, Text: "238.100km"}, want: `odometer "238.100km" may be two numbers, near "" 11 []`},
		{k: known, m: Meter{Name: "odometer", Option: Odometer, Text: "81200"}, want: `odometer "81200" is not a distance with its unit, near "" 7 []`},
	} {
		j := Job{Vehicle: "van-1", Said: map[string]string{}}
		if c.task != "" {
			j.Tasks = []string{c.task}
		}
		maps.Copy(j.Said, c.said)
		if c.m.Name != "" {
			j.Meters = []Meter{c.m}
		}
		_, err := j.Events(c.on, c.k)
		var e *Error
		if !errors.As(err, &e) || fmt.Sprintf("%v, near %q %d %v", e, e.Near, e.Fault, e.Have) != c.want {
			t.Errorf("got %v, want %s", err, c.want)
		}
	}
}

// Answers are typed with names and dates as people write them.
func TestAnswers(t *testing.T) {
	stands := []alarm.Listed{{Transition: alarm.Transition{Rule: "copper", Title: "Copper over baseline"}}}
	for _, c := range []struct {
		a    Answer
		want any
	}{
		{Answer{Answer: "acknowledge", About: "copper over baseline", Component: "Engine", By: "ines"}, &event.AnswerData{Answer: "acknowledge", Rule: "copper", Component: "engine", By: "ines"}},
		{Answer{Answer: "shelve", About: "copper", Until: "2031-07-12"}, &event.AnswerData{Answer: "shelve", Rule: "copper", Until: "2031-07-12T08:00:00+01:00"}},
		{Answer{Answer: "postpone", About: "oil", Further: "500 km", Why: "no room"}, &event.AnswerData{Answer: "postpone", Task: "oil", ByDistance: &unit.Quantity{Value: 500, Unit: "km"}, Why: "no room"}},
		{Answer{Answer: "postpone", About: "oil", Until: "2031-08-01", Why: "no room"}, &event.AnswerData{Answer: "postpone", Task: "oil", Until: "2031-08-01", Why: "no room"}},
		{Answer{Answer: "out of service"}, &event.AnswerData{Answer: "out of service"}},
		{Answer{Answer: "ignore"}, NoSuchName}, {Answer{Answer: "acknowledge", About: "iron"}, NoSuchName}, {Answer{Answer: "shelve", About: "copper"}, NoLimit},
		{Answer{Answer: "shelve", About: "copper", Until: "2031-07-10"}, Past}, {Answer{Answer: "shelve", About: "copper", Until: "soon"}, NoDate},
		{Answer{Answer: "postpone", About: "oil", Until: "2031-08-01"}, NoReason}, {Answer{Answer: "postpone", About: "oil", Why: "x"}, NoLimit},
		{Answer{Answer: "postpone", About: "oil", Further: "5", Why: "x"}, NoQuantity},
	} {
		c.a.Vehicle = "van-1"
		ev, err := c.a.Event(known, stands)
		var got any = ev.Data
		if e := (*Error)(nil); errors.As(err, &e) {
			got = e.Fault
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%+v gives %+v (%v), want %+v", c.a, got, err, c.want)
		}
	}
}

// A sheet is typed with its results in a line.
func TestSample(t *testing.T) {
	number := func(v float64) *float64 { return &v }
	s := Sample{Vehicle: "van-1", Component: "engine", Number: "L-1042", Drawn: "2031-07-02", FluidAge: "7200km", Results: "Fe=74 copper=9, Pb=<1 KV100=13.90",
		Meters: []Meter{{Name: "odometer", Option: Odometer, Text: "88400km"}}}
	ev, err := s.Event(known)
	want := &event.SampleData{Number: "L-1042", Component: "engine", Drawn: "2031-07-02", FluidAge: &unit.Quantity{Value: 7200, Unit: "km"},
		Meters: map[string]unit.Quantity{"clock": {Value: 88400, Unit: "km"}},
		Results: []event.ResultData{{Analyte: "Fe", Value: number(74), Unit: "mg/kg"}, {Analyte: "Cu", Value: number(9), Unit: "mg/kg"},
			{Analyte: "Pb", Below: number(1), Unit: "mg/kg"}, {Analyte: "KV100", Value: number(13.9), Unit: "mm2/s", Decimals: 2}}}
	if err != nil || !reflect.DeepEqual(ev.Data, want) {
		t.Errorf("%+v (%v), want %+v", ev.Data, err, want)
	}
	for results, fault := range map[string]Fault{"Fe": NoResult, "Fe=x": NoResult, "Iron=1,5": NoResult, "Fex=1": NoSuchName, "": NoResult} {
		s.Results = results
		_, err := s.Event(known)
		if e := (*Error)(nil); !errors.As(err, &e) || e.Fault != fault {
			t.Errorf("%q: %v", results, err)
		}
	}
}

// An instrument that took the place of another, and an entry that is taken out and
// entered again.
func TestReplacedAndAgain(t *testing.T) {
	ev, err := Replaced{Vehicle: "van-1", Meter: Odometer, Old: "245,003km", New: "12km", On: "2031-07-02"}.Event(known)
	want := &event.MeterReplacedData{Meter: "clock", Last: unit.Quantity{Value: 245003, Unit: "km"}, First: unit.Quantity{Value: 12, Unit: "km"}}
	if err != nil || !reflect.DeepEqual(ev.Data, want) {
		t.Errorf("%+v (%v)", ev.Data, err)
	}
	if _, err := (Replaced{Vehicle: "van-1", Meter: "hobbs", Old: "2h", New: "1h"}).Event(known); err == nil {
		t.Error("a meter that is none was replaced")
	}
	again, err := Again(ev, 2)
	if err != nil || again.ID.ID != ev.ID.ID+"-2" || again.Digest == ev.Digest {
		t.Errorf("again it is %+v (%v)", again, err)
	}
	void, err := Void("van-1", ev.ID, known)
	if d := event.VoidData(ev.ID); err != nil || !reflect.DeepEqual(void.Data, &d) {
		t.Errorf("%+v (%v)", void, err)
	}
}

// A bare number is in the unit that people read in, where anybody says; a point before three
// digits is asked about all the same.
func TestBareNumbers(t *testing.T) {
	us := unit.System{Distance: "mi", Volume: "qt", Temperature: "degF"}
	for _, c := range []struct {
		text  string
		kind  unit.Kind
		reads unit.System
		want  string // as it is told back, or the fault
	}{
		{"51000", unit.Distance, us, "51000 mi"},
		{"51,000", unit.Distance, us, "51000 mi"},
		{"51000km", unit.Distance, us, "51000 km"},
		{"101 240 km", unit.Distance, us, "101240 km"},
		{"1\u202f101 240", unit.Distance, us, "1101240 mi"},
		{"10 24 km", unit.Distance, us, `odometer "10 24 km" is not a distance with its unit`},
		{"4.5", unit.Volume, us, "4.5 qt"},
		{"51.000", unit.Distance, us, `odometer "51.000" may be two numbers`},
		{"51000", unit.Distance, unit.System{}, `odometer "51000" is not a distance with its unit`},
		{"51000", unit.Distance, unit.System{Volume: "qt"}, `odometer "51000" is not a distance with its unit`},
		{"913", unit.Time, us, `odometer "913" is not hours with its unit`},
	} {
		q, err := quantity("odometer", c.text, c.kind, c.reads)
		got := ""
		if err != nil {
			got = err.Error()
		} else {
			got = q.String()
		}
		if got != c.want {
			t.Errorf("%q is %q, want %q", c.text, got, c.want)
		}
	}
	k := known
	k.Reads = us
	ev, err := Sample{Vehicle: "van-1", Component: "axle", Number: "1", Results: "flash=419 Fe=7", FluidAge: "5000", Meters: []Meter{{"odometer", Odometer, "51000"}}}.Event(k)
	if err != nil {
		t.Fatal(err)
	}
	d := ev.Data.(*event.SampleData)
	if got := fmt.Sprintln(d.FluidAge, d.Meters["clock"], d.Results[0].Unit, d.Results[1].Unit); got != "5000 mi 51000 mi degF mg/kg\n" {
		t.Errorf("the sheet says %s", got)
	}
}
