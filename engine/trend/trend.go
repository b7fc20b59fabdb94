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
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Trend is whether y rises or falls with x, and how fast.
type Trend struct {
	Slope     float64 // median of the slopes of all pairs
	Low, High float64 // its interval, which holds the true one in Sure of all cases
	Sure      float64 // 2/3 of three values, 11/12 of four, 0.95 of more
	S         int     // pairs that rise less pairs that fall
	Variance  float64 // of S, ties in x and y accounted for
	Tau       float64 // S over the number of pairs
	Z         float64 // with continuity correction
	P         float64 // two-sided; exact up to 10 values without ties
}

// Sure is how often an interval of the slope of n values, asked for with 95 %, holds the
// true one. Of three or four no slope lies beyond the least and the greatest of their
// pairs, and all pairs rise, or fall, by chance once in 3! or 4! on either side.
func Sure(n int) float64 {
	switch n {
	case 3:
		return 2. / 3
	case 4:
		return 11. / 12
	}
	return 0.95
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
	t.Sure = Sure(n)
	t.Slope, t.Low, t.High, _ = Slope(x, y, distuv.UnitNormal.Quantile(0.975))
	t.S = kendall(x, y)
	t.Variance = variance(n, tx, ty)
	t.Tau = float64(t.S) / pairs
	t.Z = float64(t.S-cmp.Compare(t.S, 0)) / math.Sqrt(t.Variance)
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
			s += cmp.Compare(x[i], x[j]) * cmp.Compare(y[i], y[j])
		}
	}
	return s
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

// Slope is the Theil–Sen slope of y over x: the median of the slopes of all
// pairs of points, which up to 29 % of wild points cannot carry away. low and
// high bound it by Conover's method, with the confidence of z normal deviations
// either way: the slopes whose ranks are half the number of pairs, less or more
// half of z·√Var(S), with the variance of Kendall's S corrected for ties and ranks
// between two slopes interpolated (Conover, Practical Nonparametric Statistics;
// as in EPA 530/R-09-007, section 17.3.3). ok is false where no two points differ
// in x.
func Slope(x, y []float64, z float64) (slope, low, high float64, ok bool) {
	var room [usualSlopes]float64
	slopes := slices.Grow(room[:0], len(x)*(len(x)-1)/2)
	for i := range x {
		for j := range i {
			if dx := x[i] - x[j]; dx != 0 {
				slopes = append(slopes, (y[i]-y[j])/dx)
			}
		}
	}
	n := len(slopes)
	if n == 0 {
		return 0, 0, 0, false
	}
	slices.Sort(slopes)
	c := float64(z * math.Sqrt(variance(len(x), tiesOf(x), tiesOf(y))))
	low = AtRank(slopes, (float64(n)-c)/2)
	high = AtRank(slopes, float64((float64(n)+c)/2)+1)
	return AtRank(slopes, float64(n+1)/2), low, high, true
}

// usualSlopes is how many slopes there are mostly, for which room need not be
// allocated: those of 20 points.
const usualSlopes = 190

// AtRank is the value at a rank counted from 1, interpolated and kept within the
// list. The list is sorted and not empty.
func AtRank(sorted []float64, rank float64) float64 {
	rank = max(1, min(rank, float64(len(sorted))))
	whole := math.Floor(rank)
	i := int(whole) - 1
	if i+1 == len(sorted) {
		return sorted[i]
	}
	return sorted[i] + float64((rank-whole)*(sorted[i+1]-sorted[i]))
}

// variance is that of Kendall's S of n points if y did not depend on x, with the
// correction for ties in either (Kendall, Rank Correlation Methods, 1975, chapter 4).
func variance(n int, tx, ty ties) float64 {
	m := float64(n)
	v := (float64(m*(m-1)*(float64(2*m)+5)) - tx.five - ty.five) / 18
	if n > 2 {
		v += tx.three * ty.three / (9 * m * (m - 1) * (m - 2))
	}
	return v + tx.two*ty.two/(2*m*(m-1))
}

// ties sums over the groups of equal values, each of t: t(t-1), t(t-1)(t-2) and
// t(t-1)(2t+5).
type ties struct{ two, three, five float64 }

func tiesOf(values []float64) (s ties) {
	sorted := values // equal ones stand side by side where the values rise, or fall, throughout
	falls := func(a, b float64) int { return cmp.Compare(b, a) }
	if !slices.IsSorted(values) && !slices.IsSortedFunc(values, falls) {
		sorted = slices.Clone(values)
		slices.Sort(sorted)
	}
	for i := 0; i < len(sorted); {
		j := i + 1
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		t := float64(j - i)
		s.two += float64(t * (t - 1))
		s.three += float64(t * (t - 1) * (t - 2))
		s.five += float64(t * (t - 1) * (float64(2*t) + 5))
		i = j
	}
	return s
}
