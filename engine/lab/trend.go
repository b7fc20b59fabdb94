package lab

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Trend is whether y rises or falls with x, and how fast, by methods that one bad
// value does not sway: Mann and Kendall for whether, Theil and Sen for how fast.
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

// TrendOf computes the trend of y over x. ok is false under three values, or
// where all x or all y are the same.
func TrendOf(x, y []float64) (t Trend, ok bool) {
	if len(x) < 3 || len(x) != len(y) {
		return Trend{}, false
	}
	tx, ty := ties(x), ties(y)
	if tx[0] == len(x) || ty[0] == len(y) {
		return Trend{}, false
	}
	var slopes []float64
	for i := range x {
		for j := range x[:i] {
			dx, dy := x[i]-x[j], y[i]-y[j]
			t.S += sign(dx) * sign(dy)
			if dx != 0 {
				slopes = append(slopes, dy/dx)
			}
		}
	}
	slices.Sort(slopes)
	n := len(x)
	t.Variance = variance(n, tx, ty)
	t.Tau = float64(t.S) / float64(n*(n-1)/2)
	t.Z = float64(t.S-sign(float64(t.S))) / math.Sqrt(t.Variance)
	t.P = 2 * distuv.UnitNormal.CDF(-math.Abs(t.Z))
	if n <= exactUpTo && len(tx) == n && len(ty) == n {
		t.P = math.Min(1, 2*chanceOf(n, max(t.S, -t.S)))
	}
	half := distuv.UnitNormal.Quantile(0.975) * math.Sqrt(t.Variance)
	t.Slope = nth(slopes, (float64(len(slopes))+1)/2)
	t.Low = nth(slopes, (float64(len(slopes))-half)/2)
	t.High = nth(slopes, (float64(len(slopes))+half)/2+1)
	return t, true
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

// nth is the rank-th of sorted values, counted from 1, between neighbours by proportion.
func nth(sorted []float64, rank float64) float64 {
	rank = min(max(rank, 1), float64(len(sorted)))
	k, frac := math.Modf(rank)
	i := int(k) - 1
	if frac == 0 {
		return sorted[i]
	}
	return sorted[i] + float64(frac*(sorted[i+1]-sorted[i]))
}

// ties lists how often each distinct value stands, the most frequent first.
func ties(v []float64) []int {
	v = slices.Sorted(slices.Values(v))
	var out []int
	for i := 0; i < len(v); {
		j := i
		for j < len(v) && v[j] == v[i] {
			j++
		}
		out = append(out, j-i)
		i = j
	}
	slices.SortFunc(out, func(a, b int) int { return b - a })
	return out
}

// variance of S with ties in both (Kendall, Rank Correlation Methods, chapter 4).
func variance(n int, tx, ty []int) float64 {
	sums := func(ts []int) (two, three, five float64) {
		for _, k := range ts {
			t := float64(k)
			two += t * (t - 1)
			three += t * (t - 1) * (t - 2)
			five += t * (t - 1) * (2*t + 5)
		}
		return two, three, five
	}
	m := float64(n)
	x2, x3, x5 := sums(tx)
	y2, y3, y5 := sums(ty)
	return (m*(m-1)*(2*m+5)-x5-y5)/18 + x3*y3/(9*m*(m-1)*(m-2)) + x2*y2/(2*m*(m-1))
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

// WearTrend is the trend of the analyte's rate ([Sheet.Rate], per metre) over the
// component's distance: of wear made, so a drain does not read as a fall. It needs
// three samples with a rate. Where distance is not known it is the rate per second over hours.
func (s Sheet) WearTrend(analyte string) (t Trend, why string, ok bool) {
	for _, m := range []measure{byDistance, byHours} {
		var at, rates []float64
		for i := range s.History {
			if s.History[i].Exchange {
				continue
			}
			upTo := s
			upTo.History = s.History[:i+1]
			if r, _, ok := upTo.rate(analyte, m); ok {
				at, rates = append(at, s.History[i].meter(m)), append(rates, r)
			}
		}
		if t, ok = TrendOf(at, rates); ok {
			return t, "", true
		}
	}
	return Trend{}, "three samples with different rates of " + analyte, false
}

// RatePer10h turns a rate per second into mg/kg per 10 h, the interval on which
// the US DoD JOAP manual says a trend "should always be based" (TM 38-301-3).
func RatePer10h(perSecond float64) float64 { return perSecond * 36_000 }

// ShortRun reports whether a run (seconds) is under 5 h: rates over less "are
// subject to error because the spectrometer tolerance of 1 ppm is averaged in the
// shorter time interval" (TM 38-301-3).
func ShortRun(seconds float64) bool { return seconds < 5*3600 }

// Dropped reports whether all wear metals of the sample fell together since the
// sample before, with no exchange recorded between: at least three of them, none
// risen, each that could show it beyond the method's repeatability. The JOAP
// manual (TM 38-301-3): a significant drop in all metals asks for another sample
// and, if it confirms, a new baseline; fluid was changed unrecorded, or the sample
// is another machine's.
func (s Sheet) Dropped() bool {
	last := len(s.History) - 1
	before := s.History.before(last, false)
	if before < 0 || s.History.before(last, true) > before {
		return false
	}
	seen, fell := 0, 0
	for _, r := range s.History[last].Results {
		old, ok := s.at(before, r.Analyte)
		if !ok || !analyteByName[r.Analyte].Wear {
			continue
		}
		seen++
		now, _ := s.at(last, r.Analyte)
		switch {
		case now > old:
			return false
		case Real(r.Analyte, old, now, true):
			fell++
		case Real(r.Analyte, old, 0, true):
			return false // there was enough of it to see a drop
		}
	}
	return seen >= 3 && fell >= 1
}
