package record

import (
	"math"
	"slices"
	"testing"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// An average is read in the base unit of its analyte, as its result is, with the age that
// its own sheet gives.
func TestAverages(t *testing.T) {
	sheet := func(age *unit.Quantity, results ...event.ResultData) *event.SampleData {
		return &event.SampleData{AverageAge: age, Density: &unit.Quantity{Value: 0.8, Unit: "g/mL"}, Results: results}
	}
	of := func(analyte string, average float64, u string) event.ResultData {
		one := 1.0
		return event.ResultData{Analyte: analyte, Below: &one, Unit: u, Average: &average}
	}
	first := sheet(&unit.Quantity{Value: 100, Unit: "mi"}, of("Fe", 0.004, "%"), of("Cu", 12, "mg/L"), of("Pb", 0, "mg/kg"), of("Xx", 3, "mg/kg"))
	second := sheet(&unit.Quantity{Value: 2, Unit: "h"}, of("Fe", 38, "mg/kg"), of("Pb", 2, "mg/kg"))
	third := sheet(nil, of("Sn", 4, "ppm"))
	third.Results = append(third.Results, event.ResultData{Analyte: "Cr", NotDetected: true, Unit: "mg/kg", Average: third.Results[0].Average})
	got := readSheets([]*event.SampleData{first, second, third})

	type answer struct {
		value float64
		ok    bool
		age   float64
		kind  unit.Kind
		aged  bool
	}
	const mile = 1609.344 // metres, by definition: international yard, 1959
	for analyte, want := range map[string]answer{
		"Fe": {40, true, 100 * mile, unit.Distance, true}, // 1 % is 10,000 mg/kg
		"Cu": {15, true, 100 * mile, unit.Distance, true}, // mg/L over g/mL
		"Pb": {2, true, 7200, unit.Time, true},
		"Sn": {4, true, 0, unit.None, false},
		"Cr": {4, true, 0, unit.None, false}, // of a result that cannot be judged
		"Xx": {}, "Al": {},
	} {
		var a answer
		a.value, a.ok = got.Average(analyte)
		a.age, a.kind, a.aged = got.AverageAge(analyte)
		if math.Abs(a.value-want.value) < 1e-9 {
			a.value = want.value
		}
		if a != want {
			t.Errorf("%s: got %v, want %v", analyte, a, want)
		}
	}
	want := []string{
		"Xx not judged: no rule knows an analyte with that name",
		"the laboratory's average of Pb is not used: 0 mg/kg is not an amount to compare with",
		"the laboratory's averages of Fe differ; the first counts",
		"Cr not judged: not detected, and the limit of detection is not given",
		"without the age of their fluid, the laboratory's averages are compared as they are, not for age",
	}
	if !slices.Equal(got.notes, want) {
		t.Errorf("got %q, want %q", got.notes, want)
	}
}
