package main

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"

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
