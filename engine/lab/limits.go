package lab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"telltale/engine/trend"
	"telltale/rules/unit"
)

// percentile is the p-th quantile (0 < p < 1) of values in order by the rank p(N+1),
// between neighbours by proportion, at the ends the least or greatest value
// (NIST/SEMATECH e-Handbook 7.2.6.2). NaN of none.
func percentile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	return trend.AtRank(x, p*float64(len(x)+1))
}

// PlaceOf is the inverse of [percentile]: the share (0 to 1) of which v is the
// quantile among the values, which are sorted. Below the least value it is 0, above
// the greatest 1; among equal ones the middle of their places. NaN of none.
func PlaceOf(sorted []float64, v float64) float64 {
	n := len(sorted)
	first, after := countBelow(sorted, v), countAtMost(sorted, v)
	switch {
	case n == 0:
		return math.NaN()
	case after > first: // ranks first+1 to after
		return float64(first+1+after) / 2 / float64(n+1)
	case first == 0:
		return 0
	case first == n:
		return 1
	}
	frac := (v - sorted[first-1]) / (sorted[first] - sorted[first-1])
	return (float64(first) + frac) / float64(n+1)
}

// Thinned is at most n of the sorted values' quantiles, evenly spaced, among which
// [PlaceOf] gives nearly the same as among all; the values themselves where they are
// no more than n.
func Thinned(sorted []float64, n int) []float64 {
	if len(sorted) <= n {
		return sorted
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = percentile(sorted, float64(i+1)/float64(n+1))
	}
	return out
}

// predictionLimit returns the upper limit that all of the next k single values
// stay under with the given confidence, from a normal background: mean +
// t(1-α/k, n-1) s √(1+1/n) (EPA 530/R-09-007 section 18.2). NaN under two values.
func predictionLimit(values []float64, k int, confidence float64) float64 {
	n := float64(len(values))
	if n < 2 || k < 1 {
		return math.NaN()
	}
	mean, sd := stat.MeanStdDev(values, nil)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(1 - (1-confidence)/float64(k))
	return mean + float64(t*sd*math.Sqrt(1+1/n))
}

// toleranceFactor returns k such that mean + k s of n normal values lies above a
// share p of all values with the given confidence, exactly by the noncentral t
// distribution (NIST/SEMATECH e-Handbook 7.2.6.3). NaN under two values.
func toleranceFactor(n int, p, confidence float64) float64 {
	if n < 2 {
		return math.NaN()
	}
	root := math.Sqrt(float64(n))
	delta := root * distuv.UnitNormal.Quantile(p)
	low, high := -100.0, 1000.0
	for range 48 { // to 1e-11 of k
		mid := (low + high) / 2
		if noncentralT(mid*root, float64(n-1), delta) < confidence {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// noncentralT is P(T <= t) with nu degrees of freedom and noncentrality delta:
// the mean of Φ(t s - delta) over the distribution of s = sqrt(chi2(nu)/nu).
func noncentralT(t, nu, delta float64) float64 {
	lg, _ := math.Lgamma(nu / 2)
	scale := math.Ln2 + float64(nu/2*math.Log(nu/2)) - lg
	integrand := func(s float64) float64 {
		density := math.Exp(scale + float64((nu-1)*math.Log(s)) - float64(nu*s*s/2))
		return density * distuv.UnitNormal.CDF(float64(t*s)-delta)
	}
	// s has mean near 1 and deviation near 1/√(2 nu); ten of those hold all its mass.
	spread := 10 / math.Sqrt(2*nu)
	return quad.Fixed(integrand, math.Max(0, 1-spread), 1+spread, 80, nil, 0)
}

// Individuals is a control chart of single values.
type Individuals struct {
	Centre, Upper, Lower float64
	Out                  []int // indexes of the values beyond the limits
}

// Chart draws the individuals chart of values in time order: mean ± 3 × mean
// moving range / 1.128 (NIST/SEMATECH e-Handbook 6.3.2.2). ok is false under two
// values. Ten or so are usual before its limits mean much: common practice, no source.
func Chart(values []float64) (c Individuals, ok bool) {
	if len(values) < 2 {
		return Individuals{}, false
	}
	var ranges float64
	for i := range values[1:] {
		ranges += math.Abs(values[i+1] - values[i])
	}
	width := 3 * ranges / float64(len(values)-1) / 1.128
	mean := stat.Mean(values, nil)
	c = Individuals{Centre: mean, Upper: mean + width, Lower: mean - width}
	for i, v := range values {
		if v > c.Upper || v < c.Lower {
			c.Out = append(c.Out, i)
		}
	}
	return c, true
}

// Usual is how fast a component makes an analyte, as its own earlier samples have
// it: the limits that the next of their rates stays within ([predictionLimit]), of more
// than 20 of them an individuals chart ([Chart]), and the latest rate beside it. Rates that
// are all positive are compared by their logarithms, since wear is spread unevenly: then
// the centre is their geometric mean.
type Usual struct {
	Individuals // of the earlier rates, per metre (Per is unit.Distance) or per second
	Per         unit.Kind
	Rates       int     // how many earlier ones there are
	Latest      float64 // the rate at the sample that is judged
	// Outside is 1 where the latest rate lies over the chart's limits by more than the
	// method alone accounts for, -1 where it lies under them, else 0.
	Outside int
}

// leastCharted is the number of earlier rates from which a chart's limits are wrong
// hardly more often than a prediction's, which allows for how few there are; leastUsual is
// that from which a prediction is of use; sureUsual is the confidence of its limit on
// either side. Common practice, no source; TestUsualFalseAlarms tells what they come to.
const (
	leastCharted = 21
	leastUsual   = 4
	sureUsual    = 0.995
)

// Usual compares the latest rate with the earlier ones, by distance or, where that is
// not known, by hours. Rates are of what was made, so a drain is no fall.
func (s Sheet) Usual(analyte string) (u Usual, why string, ok bool) {
	_, per, why, ok := s.Rate(analyte)
	if !ok {
		return Usual{}, why, false
	}
	_, rates := s.Rates(analyte, per)
	earlier := rates[:max(0, len(rates)-1)]
	if len(earlier) < leastUsual {
		return Usual{}, "four earlier samples with a rate of " + analyte, false
	}
	u = Usual{Per: per, Rates: len(earlier), Latest: rates[len(earlier)]}
	u.Individuals = bandOf(earlier)
	within, _, _ := s.RateError(analyte, per)
	u.Outside = u.Beyond(u.Latest, within)
	return u, "", true
}

// Beyond is 1 where a value lies over the limits, -1 where it lies under them, and 0
// where it does not, or the method alone, which lets it scatter by within, accounts for
// what it lies off the centre.
func (c Individuals) Beyond(v, within float64) int {
	switch {
	case v > c.Upper && v-c.Centre > within:
		return 1
	case v < c.Lower && c.Centre-v > within:
		return -1
	}
	return 0
}

// bandOf are the limits that the next of the rates should stay within.
func bandOf(rates []float64) Individuals {
	positive := slices.Min(rates) > 0
	if positive {
		rates = logs(rates)
	}
	c, _ := Chart(rates)
	if len(rates) < leastCharted {
		c.Upper = predictionLimit(rates, 1, sureUsual)
		c.Lower = 2*c.Centre - c.Upper
	}
	if positive {
		c.Centre, c.Upper, c.Lower = math.Exp(c.Centre), math.Exp(c.Upper), math.Exp(c.Lower)
	}
	return c
}

func logs(values []float64) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = math.Log(v)
	}
	return out
}
