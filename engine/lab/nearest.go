package lab

import (
	"math"
	"strings"
)

// fluidMarks are what fluids are told apart by: elements of additives, which stay as they
// react, and viscosity.
var fluidMarks = []string{"P", "Ca", "Zn", "Mg", "B", "Mo", "KV100"}

// leastMarks is of how many of them two fluids are compared: by one or two, many are
// alike (common practice, no source).
const leastMarks = 3

// apart is how far a result lies from what a fluid holds, over what two laboratories
// may differ by at that: the logarithm of their ratio, over that of the ratio which the
// method alone accounts for ([Precision.Limit]). What is under the least that the method
// tells from nothing, or under 1 mg/kg, which laboratories do not report, counts as that.
func apart(analyte string, v, fluid float64) float64 {
	p := PrecisionOf(analyte)
	least := 1.0
	if p.D < 1 {
		least = math.Max(least, math.Pow(p.C, 1/(1-p.D))) // c x^d = x
	}
	v, fluid = math.Max(v, least), math.Max(fluid, least)
	return math.Abs(math.Log(v/fluid)) / math.Log1p(p.Limit(fluid, false)/fluid)
}

// marks are those that the sample and all fluids have.
func (s Sheet) marks(fluids ...map[string]float64) (out []string) {
	for _, a := range fluidMarks {
		_, has := s.Result(a)
		for _, f := range fluids {
			_, in := f[a]
			has = has && in
		}
		if has {
			out = append(out, a)
		}
	}
	return out
}

// apart is the root of the mean square over the marks.
func (s Sheet) apart(marks []string, fluid map[string]float64) float64 {
	sum := 0.0
	for _, a := range marks {
		v, _, _ := s.Value(a)
		d := apart(a, v, fluid[a])
		sum += float64(d * d)
	}
	return math.Sqrt(sum / float64(len(marks)))
}

// FluidDistance is how far the sample lies from a fluid as it is when fresh, in the
// method's errors: 1 is what two laboratories may differ by on one fluid. It is the root
// of the mean square over those of phosphorus, calcium, zinc, magnesium, boron,
// molybdenum and the viscosity at 100 °C that both have, of which three are needed.
func (s Sheet) FluidDistance(fresh map[string]float64) (v float64, why string, ok bool) {
	var m missing
	marks := s.marks(fresh)
	m.unless(len(marks) >= leastMarks, "three of ", strings.Join(fluidMarks, ", "), " in the sample and in its fresh fluid")
	if m == "" {
		v = s.apart(marks, fresh)
	}
	return m.answer(v)
}

// Nearer compares a sample's own fluid with another, by the marks that all have.
type Nearer struct {
	Marks      []string
	Own, Other float64 // distances, as [Sheet.FluidDistance]
}

// NearerTo compares; ok is false where there are too few marks.
func (s Sheet) NearerTo(own, other map[string]float64) (n Nearer, ok bool) {
	n.Marks = s.marks(own, other)
	if len(n.Marks) < leastMarks {
		return n, false
	}
	n.Own, n.Other = s.apart(n.Marks, own), s.apart(n.Marks, other)
	return n, true
}

// Clearly reports whether the other fluid is clearly nearer: at most a third as far. Of
// its own the sample is then over 4 of the method's errors away, since use alone takes a
// fluid so far from fresh, and of the other within 6 (common practice, no source).
func (n Nearer) Clearly() bool { return n.Own > 4 && n.Other <= 6 && n.Other <= n.Own/3 }
