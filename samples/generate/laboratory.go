package main

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
)

// fluid is what is in a component: mg/kg and the viscosity, as a mass balance of
// what wear makes and what exchanges carry away.
type fluid struct {
	at    float64 // km or hours at which the values were reckoned
	since float64 // km or hours at which it was last changed
	fresh map[string]float64
	// rate is what 1,000 km (or 100 h) add or take away.
	rate   map[string]float64
	values map[string]float64
	unit   string
	per    float64
}

// newTransmissionFluid is fresh fluid at a distance.
func newTransmissionFluid(km float64) *fluid {
	fresh := map[string]float64{"Fe": 0.5, "Cu": 0.5, "Al": 0.5, "Pb": 0, "Si": 4, "Na": 4, "K": 1, "P": 290, "Ca": 130, "B": 55, "KV100": 7.2}
	return &fluid{at: km, since: km, unit: "km", per: 1000, fresh: fresh, values: maps.Clone(fresh),
		rate: map[string]float64{"Fe": 1.9, "Cu": 0.85, "Al": 0.46, "Pb": 0.16, "Si": 0.2, "Na": 0.04, "K": 0.03,
			"P": -1.25, "Ca": -0.4, "B": -0.35, "KV100": -0.013}}
}

// newEngineOil is fresh oil; a gritter's ages by the hour.
func newEngineOil(at float64, byHour bool) *fluid {
	fresh := map[string]float64{"Fe": 1, "Cu": 0.5, "Al": 0.5, "Pb": 0.5, "Si": 5, "Na": 3, "K": 1, "P": 850, "Ca": 2100, "Zn": 950, "KV100": 11.9}
	o := &fluid{at: at, since: at, unit: "km", per: 1000, fresh: fresh, values: maps.Clone(fresh),
		rate: map[string]float64{"Fe": 1.7, "Cu": 0.4, "Al": 0.34, "Pb": 0.16, "Si": 0.24, "Na": 0.12, "K": 0.08,
			"P": -4, "Ca": -9, "Zn": -4.5, "KV100": -0.045}}
	if byHour {
		o.unit, o.per = "h", 10 // 10 h of gritting wear about as much as 1,000 km
	}
	return o
}

// Products that are added are rounded first, so that every machine writes the same.

// run lets it work up to a meter value.
func (f *fluid) run(to float64) {
	for a, r := range f.rate {
		f.values[a] += r * (to - f.at) / f.per
	}
	f.at = to
}

// exchange renews a share of it.
func (f *fluid) exchange(share float64) {
	for a := range f.values {
		f.values[a] = float64((1-share)*f.values[a]) + float64(share*f.fresh[a])
	}
	f.since = f.at
}

// results are what a laboratory finds: with its scatter, to two or three figures,
// and below its limit where there is little. Analytes in set are as given.
func (f *fluid) results(dice *rand.Rand, set map[string]float64) []event.ResultData {
	var out []event.ResultData
	for _, a := range slices.Sorted(maps.Keys(f.values)) {
		v, u := f.values[a]*(0.97+float64(0.06*dice.Float64())), "mg/kg"
		switch {
		case a == "KV100":
			v, u = math.Round(f.values[a]*100)/100, "mm2/s"
		case v >= 10:
			v = math.Round(v)
		default:
			v = math.Round(v*10) / 10
		}
		if given, ok := set[a]; ok {
			v = given
		}
		if v < 1 {
			one := 1.0
			out = append(out, event.ResultData{Analyte: a, Below: &one, Unit: u})
			continue
		}
		out = append(out, event.ResultData{Analyte: a, Value: &v, Unit: u})
	}
	out = append(out, percent("water", set["water"], 0.05))
	if f.fresh["Zn"] > 0 { // an engine's
		out = append(out, percent("fuel", set["fuel"], 0.5))
	}
	return out
}

// percent is a result in %, below its limit where nothing is given.
func percent(analyte string, v, limit float64) event.ResultData {
	if v > 0 {
		return event.ResultData{Analyte: analyte, Value: &v, Unit: "%"}
	}
	return event.ResultData{Analyte: analyte, Below: &limit, Unit: "%"}
}

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
		Number: s.number, Revision: s.revision, Component: s.component, Drawn: at(s.day, 0, 0).Format(time.DateOnly), Taken: "before",
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
		Fluid: &event.FluidData{Name: "ATF", Drained: quantity(litres, "L"), Filled: quantity(litres, "L"),
			Flush: strings.Contains(note, "flushed")},
	})
	y.checks(v, "transmission fluid", day)
	check := day + 1
	for v.km(check) < v.km(day)+500 {
		check++
	}
	for check += int(2 * y.dice.Float64()); !workday(check); {
		check++
	}
	y.service(v, check, event.ServiceData{Tasks: []string{"leak check"}, Component: "transmission", Note: "dry, level right at temperature"})
}
