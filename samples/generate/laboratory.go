package main

import (
	"fmt"
	"math"
	"strings"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// sampling is one bottle, drawn in the morning before any work.
type sampling struct {
	component     string
	day, reported int
	number        string // of a corrected report; otherwise the next
	revision      int
	ageUnknown    bool
	set           map[string]float64 // results as the story has them
}

// sample draws a sample and reports it.
func (y *year) sample(v *vehicle, s sampling) (number string) {
	oil, meter := v.atf, v.km(s.day)
	if s.component == "engine" {
		oil = v.oil
	}
	if oil.unit == "h" {
		meter = v.running(s.day)
	}
	oil.run(meter)
	source := "/laboratory/valley"
	if s.number == "" {
		y.count[source]++
		s.number, s.revision = fmt.Sprintf("L-%04d", 1000+y.count[source]), 1
	}
	d := &event.SampleData{
		Number: s.number, Revision: s.revision, Component: s.component, Drawn: dateOf(s.day), Taken: "before",
		Meters: v.meters(v.stoodAt(s.day)), Laboratory: "valley", Method: "ICP", Point: "drain",
		Results: oil.results(y.dice, s.set),
	}
	if !s.ageUnknown {
		d.FluidAge = quantity(math.Round(oil.at-oil.since), oil.unit)
	}
	id := event.ID{Source: source, ID: fmt.Sprintf("%s-%d", s.number, s.revision)}
	y.add(v, event.SampleEvent, id, at(s.day, 8, 0), at(s.reported, 13, len(y.events)%60), d)
	return s.number
}

// drain exchanges fluid of the transmission, which also does what is in tasks,
// and has the leak check done some 500 km later.
func (y *year) drain(v *vehicle, day int, litres float64, note string, tasks ...string) {
	v.atf.run(v.km(day))
	v.atf.exchange(litres / 8)
	v.done["transmission fluid"] = v.stoodAt(day)
	y.service(v, day, event.ServiceData{
		Tasks: append([]string{"transmission fluid"}, tasks...), Component: "transmission", Filter: true, Note: note,
		Fluid: &event.FluidData{Name: "ATF", Drained: &unit.Quantity{Value: litres, Unit: "L"}, Filled: &unit.Quantity{Value: litres, Unit: "L"},
			Flush: strings.Contains(note, "flushed")},
	})
	y.checks(v, "transmission fluid", day)
	check := day + 1
	for v.km(check) < v.km(day)+500 {
		check++
	}
	check = nextWorkday(check + int(2*y.dice.Float64()))
	y.service(v, check, event.ServiceData{Tasks: []string{"leak check"}, Component: "transmission", Note: "dry, level right at temperature"})
}
