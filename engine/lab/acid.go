package lab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"telltale/rules/unit"
)

// Base number is spent the slower the less there is of it: it decays and does not fall
// along a line. Which of the two a fluid does is asked of its own samples.

// fitted is a line over age, or with decays the exponential of one.
type fitted struct {
	a, b   float64
	decays bool
	misses float64 // the sum of squares of what it misses the values by
}

func (f fitted) at(age float64) float64 {
	v := f.a + float64(f.b*age)
	if f.decays {
		return math.Exp(v)
	}
	return v
}

// fit lays a line, or a decay, through values by least squares.
func fit(ages, values []float64, decays bool) fitted {
	y := slices.Clone(values)
	if decays {
		for i, v := range values {
			y[i] = math.Log(v)
		}
	}
	f := fitted{decays: decays}
	f.a, f.b = stat.LinearRegression(ages, y, nil, false)
	for i, v := range values {
		miss := f.at(ages[i]) - v
		f.misses += float64(miss * miss)
	}
	return f
}

// spent is how a base number goes down: by decay where three or more values above 0 fall and a
// decay misses them by less than a line, else along a line, which is spent the sooner.
func spent(ages, values []float64) fitted {
	line := fit(ages, values, false)
	if len(values) < 3 || !(slices.Min(values) > 0) || !(line.b < 0) {
		return line
	}
	if decay := fit(ages, values, true); decay.misses < line.misses {
		return decay
	}
	return line
}

// Straightened are a base number's measures and limit for [CrossingOf], both with their
// signs turned so that they rise: by their logarithms where a decay misses the measures by
// less than a line does, else as they were. off, the error of the last measure, goes with
// them.
func Straightened(ages, measures []float64, limit, off float64) (straight []float64, at, within float64) {
	values := make([]float64, len(measures))
	for i, v := range measures {
		values[i] = -v
	}
	if !(limit < 0) || len(values) < 3 || !spent(ages, values).decays {
		return measures, limit, off
	}
	within = off / values[len(values)-1]
	for i, v := range values {
		values[i] = -math.Log(v)
	}
	return values, -math.Log(-limit), within
}

// AcidCrossing is where the acid number of a fluid crosses its base number.
type AcidCrossing struct {
	Further float64 // the run until then: metres, or seconds by hours; 0 where it has
	// Beyond: not within twice the greatest age that was sampled; Further is the run to
	// that, and what comes after it is not known.
	Beyond  bool
	Decays  bool // the base number does; else it falls along a line
	Samples int  // on which it rests
}

// mostSampled is how far a fluid is followed: times the greatest age that was sampled.
const mostSampled = 2

// AcidCrossing forecasts it from the samples of this fluid that have both numbers: those
// since all of it was renewed, against its age, which an exchange of a part makes
// younger. It takes two of them, this one among them; through two goes a line.
func (s Sheet) AcidCrossing(per unit.Kind) (c AcidCrossing, why string, ok bool) {
	var m missing
	tbn, tan := m.in(s.Value("TBN")), 0.0
	if m == "" {
		tan = m.in(s.Value("TAN"))
	}
	age := m.in(s.MixedAge(per))
	if m != "" {
		return c, string(m), false
	}
	ages, base, acid := s.baseAndAcid(per)
	c.Samples = len(ages)
	if tan >= tbn {
		return c, "", true
	}
	if len(ages) < 2 || slices.Min(ages) == slices.Max(ages) {
		return c, "an earlier sample of this fluid with base number (TBN) and acid number (TAN)", false
	}
	down, up := spent(ages, base), fit(ages, acid, false)
	c.Decays = down.decays
	end := mostSampled * slices.Max(ages)
	c.Further, c.Beyond = firstZero(func(x float64) float64 { return down.at(x) - up.at(x) }, age, math.Max(end, age))
	return c, "", true
}

// baseAndAcid are the fluid's ages in the samples that have both numbers, oldest first.
// They go back to the exchange of all the fluid, or of nobody knows how much, or to
// where the fluid grew younger with no exchange on record.
func (s Sheet) baseAndAcid(per unit.Kind) (ages, base, acid []float64) {
	h, first := s.History, s.History.Alike()
	later, exchanged := math.Inf(1), false
	for i := len(h) - 1; i >= first; i-- {
		if h[i].Exchange {
			if !(h[i].Share < 1) {
				break
			}
			exchanged = true
			continue
		}
		age := h.Ages(i).by(per)
		if age > later && !exchanged {
			break
		}
		later, exchanged = age, false
		_, hasBase := h[i].result("TBN")
		_, hasAcid := h[i].result("TAN")
		if math.IsNaN(age) || !hasBase || !hasAcid {
			continue
		}
		b, _ := s.at(i, "TBN")
		a, _ := s.at(i, "TAN")
		ages, base, acid = append(ages, age), append(base, b), append(acid, a)
	}
	slices.Reverse(ages)
	slices.Reverse(base)
	slices.Reverse(acid)
	return ages, base, acid
}

// firstZero is how far after from f first comes down to 0, up to the end; beyond where it
// does not.
func firstZero(f func(float64) float64, from, end float64) (further float64, beyond bool) {
	const steps = 256
	low := from
	for i := range steps {
		high := from + float64((end-from)*float64(i+1)/steps)
		if f(low) > 0 && f(high) > 0 {
			low = high
			continue
		}
		for range 60 {
			if mid := (low + high) / 2; f(mid) > 0 {
				low = mid
			} else {
				high = mid
			}
		}
		return low - from, false
	}
	return end - from, true
}
