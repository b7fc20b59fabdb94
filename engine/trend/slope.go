package trend

import (
	"cmp"
	"math"
	"slices"
)

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
	low = atRank(slopes, (float64(n)-c)/2)
	high = atRank(slopes, float64((float64(n)+c)/2)+1)
	return atRank(slopes, float64(n+1)/2), low, high, true
}

// usualSlopes is how many slopes there are mostly, for which room need not be
// allocated: those of 20 points.
const usualSlopes = 190

// atRank is the value at a rank counted from 1, interpolated and kept within the
// list. The list is sorted and not empty.
func atRank(sorted []float64, rank float64) float64 {
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

// inOrder reports whether equal values stand side by side since the values rise,
// or fall, throughout.
func inOrder(values []float64) bool {
	up, down := true, true
	for i := 1; i < len(values); i++ {
		up, down = up && values[i-1] <= values[i], down && values[i-1] >= values[i]
	}
	return up || down
}

// ties sums over the groups of equal values, each of t: t(t-1), t(t-1)(t-2) and
// t(t-1)(2t+5).
type ties struct{ two, three, five float64 }

func tiesOf(values []float64) (s ties) {
	sorted := values
	if !inOrder(values) {
		sorted = slices.Clone(values)
		slices.SortFunc(sorted, cmp.Compare[float64])
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
