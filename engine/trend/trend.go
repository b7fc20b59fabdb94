// Package trend tells whether y rises or falls with x, and how fast, by methods that
// one bad value does not sway: Mann and Kendall for whether, Theil and Sen for how
// fast. [Slope] is the pace alone, with an interval as wide as is asked for; [Of]
// has the test too.
//
//	t, ok := trend.Of(metres, milligrams)
//	rising := ok && t.Slope > 0 && t.P < 0.05
//
// Every result is a function of the numbers alone. Nothing here knows what they
// measure: x and y have the units they come with, a slope those of y over x.
package trend

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Trend is whether y rises or falls with x, and how fast.
type Trend struct {
	Slope     float64 // median of the slopes of all pairs
	Low, High float64 // its 95 % interval
	S         int     // pairs that rise less pairs that fall
	Variance  float64 // of S, ties in x and y accounted for
	Tau       float64 // S over the number of pairs
	Z         float64 // with continuity correction
	P         float64 // two-sided; exact up to 10 values without ties
}

// exactUpTo is the number of values up to which P is counted out and not taken from
// the normal distribution, as usual in tables of the test.
const exactUpTo = 10

// Of computes the trend of y over x. ok is false under three values, or where all
// x or all y are the same.
func Of(x, y []float64) (t Trend, ok bool) {
	n := len(x)
	if n < 3 || n != len(y) {
		return Trend{}, false
	}
	tx, ty := tiesOf(x), tiesOf(y)
	pairs := float64(n * (n - 1) / 2)
	if tx.two == 2*pairs || ty.two == 2*pairs {
		return Trend{}, false
	}
	t.Slope, t.Low, t.High, _ = Slope(x, y, distuv.UnitNormal.Quantile(0.975))
	t.S = kendall(x, y)
	t.Variance = variance(n, tx, ty)
	t.Tau = float64(t.S) / pairs
	t.Z = float64(t.S-sign(float64(t.S))) / math.Sqrt(t.Variance)
	t.P = 2 * float64(distuv.UnitNormal.CDF(-math.Abs(t.Z)))
	if n <= exactUpTo && tx.two == 0 && ty.two == 0 {
		t.P = math.Min(1, 2*chanceOf(n, max(t.S, -t.S)))
	}
	return t, true
}

// kendall is S: the pairs of points that rise less those that fall.
func kendall(x, y []float64) (s int) {
	for i := range x {
		for j := range i {
			s += sign(x[i]-x[j]) * sign(y[i]-y[j])
		}
	}
	return s
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// chanceOf is the probability that S of n values in random order is s (0 or more)
// or greater: orders counted by their number of falling pairs, which is
// (pairs - S) / 2.
func chanceOf(n, s int) float64 {
	counts := []int{1}
	all := 1
	for k := 2; k <= n; k++ {
		all *= k
		next := make([]int, len(counts)+k-1)
		for i, c := range counts {
			for j := range k {
				next[i+j] += c
			}
		}
		counts = next
	}
	few := 0
	for falling := range (n*(n-1)/2-s)/2 + 1 {
		few += counts[falling]
	}
	return float64(few) / float64(all)
}
