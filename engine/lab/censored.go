package lab

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// curve is a distribution estimated from results of which some are censored:
// the mass of probability at each detected value, the greatest first, and the
// rest, of which no more is known than that it lies from 0 to RestBelow.
type curve struct {
	Value, Mass     []float64
	Rest, RestBelow float64
}

// kaplanMeier estimates the distribution by the product-limit method for
// left-censored data (Helsel, Statistics for Censored Environmental Data):
// nothing is put in place of a result below a limit. Results above one are for the
// caller to leave out.
func kaplanMeier(results []Result) curve {
	// Descending; at equal numbers the detected value lies above "below" it.
	rs := slices.SortedFunc(slices.Values(results), func(a, b Result) int {
		switch {
		case a.Value != b.Value || a.Censored == b.Censored:
			return cmp.Compare(b.Value, a.Value)
		case a.Censored:
			return 1
		}
		return -1
	})
	c := curve{Rest: 1}
	for i := 0; i < len(rs); {
		n := i
		for n < len(rs) && rs[n].Value == rs[i].Value && !rs[n].Censored {
			n++
		}
		if n == i {
			i++
			continue
		}
		mass := c.Rest * float64(n-i) / float64(len(rs)-i)
		c.Value, c.Mass = append(c.Value, rs[i].Value), append(c.Mass, mass)
		c.Rest -= mass
		if n == len(rs) {
			c.Rest = 0 // exactly
		}
		i = n
	}
	if c.Rest > 0 && len(rs) > 0 {
		c.RestBelow = restBelow(rs, c)
	}
	return c
}

// restBelow bounds what lies under the least detected value by the greatest
// limit among it; with nothing detected, by the greatest limit.
func restBelow(rs []Result, c curve) float64 {
	least := math.Inf(1)
	if n := len(c.Value); n > 0 {
		least = c.Value[n-1]
	}
	for _, r := range rs {
		if r.Censored && r.Value <= least {
			return r.Value
		}
	}
	return 0
}

// Mean returns the least and the greatest mean that the curve allows: the rest
// at 0 and at its upper bound. They are equal where all is known.
func (c curve) Mean() (low, high float64) {
	for i, v := range c.Value {
		low += float64(v * c.Mass[i])
	}
	return low, low + float64(c.Rest*c.RestBelow)
}

// ros fits logarithms of the detected values to normal order statistics and
// returns the sample with each censored result replaced by its place on that line,
// sorted (robust regression on order statistics: Helsel and Cohn 1988, plotting
// positions with a = 0; Helsel advises it up to 80 % censored). The filled-in values
// serve summaries of the whole only; none of them says anything about its sample. ok is false where
// fewer than three values were detected, all are equal, or one is not above 0.
func ros(results []Result) (filled []float64, ok bool) {
	detects, limits := split(results)
	if len(detects) < 3 || detects[0] <= 0 || detects[0] == detects[len(detects)-1] {
		return nil, false
	}
	above := exceedances(detects, limits)
	x, y := make([]float64, len(detects)), make([]float64, len(detects))
	for i, v := range detects {
		x[i], y[i] = distuv.UnitNormal.Quantile(above.detected(detects, v, i)), math.Log(v)
	}
	a, b := stat.LinearRegression(x, y, nil, false)
	filled = detects
	for i := 0; i < len(limits); {
		j := i
		for j < len(limits) && limits[j] == limits[i] {
			j++
		}
		share := 1 - above.at(limits[i])
		for k := 1; k <= j-i; k++ {
			z := distuv.UnitNormal.Quantile(share * float64(k) / float64(j-i+1))
			filled = append(filled, math.Exp(a+float64(b*z)))
		}
		i = j
	}
	slices.Sort(filled)
	return filled, true
}

func split(results []Result) (detects, limits []float64) {
	for _, r := range results {
		if r.Censored {
			limits = append(limits, r.Value)
		} else {
			detects = append(detects, r.Value)
		}
	}
	slices.Sort(detects)
	slices.Sort(limits)
	return detects, limits
}

// exceedance is, for each distinct limit in rising order, the probability that a value exceeds it.
type exceedance struct{ limit, p []float64 }

func exceedances(detects, limits []float64) exceedance {
	limit := slices.Compact(slices.Clone(limits))
	if len(limit) == 0 || limit[0] > detects[0] {
		limit = slices.Insert(limit, 0, 0) // the detects under every limit stand on 0
	}
	e := exceedance{limit, make([]float64, len(limit))}
	next := 0.0
	for j := len(limit) - 1; j >= 0; j-- {
		upper := math.Inf(1)
		if j+1 < len(limit) {
			upper = limit[j+1]
		}
		in := float64(countBelow(detects, upper) - countBelow(detects, limit[j]))
		below := float64(countBelow(detects, limit[j]) + countAtMost(limits, limit[j]))
		if in+below > 0 {
			next += float64(in / (in + below) * (1 - next))
		}
		e.p[j] = next
	}
	return e
}

func countBelow(sorted []float64, v float64) int {
	n, _ := slices.BinarySearch(sorted, v)
	return n
}

func countAtMost(sorted []float64, v float64) int {
	return countBelow(sorted, math.Nextafter(v, math.Inf(1)))
}

// at returns the probability of exceeding the limit, which is one of e's.
func (e exceedance) at(limit float64) float64 {
	i, _ := slices.BinarySearch(e.limit, limit)
	return e.p[i]
}

// detected is the plotting position of the i-th of the sorted detected values.
func (e exceedance) detected(detects []float64, v float64, i int) float64 {
	j := countAtMost(e.limit, v) - 1
	upper, next := len(detects), 0.0
	if j+1 < len(e.limit) {
		upper, next = countBelow(detects, e.limit[j+1]), e.p[j+1]
	}
	first := countBelow(detects, e.limit[j])
	rank := float64(i-first+1) / float64(upper-first+1)
	return (1 - e.p[j]) + float64((e.p[j]-next)*rank)
}
