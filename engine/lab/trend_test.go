package lab

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// EPA 530/R-09-007 example 17-6, p. 17-33, sulfate, n 23: tau 0.7667984, z 5.107322,
// p 3.267574e-07, slope 26.6666667, 95 % interval 20.00000 to 35.71182; S 194 and
// its variance 1428 of 253 pairs were computed independently.
func TestTrendEPA(t *testing.T) {
	tr, ok := TrendOf(numbers(t, "epa_17_6_sulfate.csv", 0), numbers(t, "epa_17_6_sulfate.csv", 1))
	if !ok || tr.S != 194 {
		t.Fatalf("trend = %+v, %v", tr, ok)
	}
	near(t, "variance", tr.Variance, 1428, 0.5)
	near(t, "tau", tr.Tau, .7667984, 5e-8)
	near(t, "z", tr.Z, 5.107322, 5e-7)
	near(t, "p", tr.P, 3.267574e-07, 5e-13)
	near(t, "slope", tr.Slope, 26.6666667, 5e-7)
	near(t, "low", tr.Low, 20, 5e-6)
	near(t, "high", tr.High, 35.71182, 5e-6)
}

// Kendall, Rank Correlation Methods, example 4.3, ties in both: S 34, Var(S) 203.30.
func TestTrendKendall(t *testing.T) {
	x := []float64{1.5, 1.5, 3, 4, 6, 6, 6, 8, 9.5, 9.5, 11, 12}
	y := []float64{2.5, 2.5, 7, 4.5, 1, 4.5, 6, 11.5, 11.5, 8.5, 8.5, 10}
	tr, _ := TrendOf(x, y)
	if tr.S != 34 {
		t.Errorf("S = %d, want 34", tr.S)
	}
	near(t, "variance", tr.Variance, 203.30, 5e-3)
}

// EPA QA/G-9S (attribution from memory): 5 6 11 8 10 has S 6, exact one-sided
// p 14/120, slope 1.125.
func TestTrendSmall(t *testing.T) {
	tr, _ := TrendOf([]float64{1, 2, 3, 4, 5}, []float64{5, 6, 11, 8, 10})
	if tr.S != 6 {
		t.Errorf("S = %d, want 6", tr.S)
	}
	near(t, "p", tr.P, 2*14/120.0, 1e-12)
	near(t, "slope", tr.Slope, 1.125, 1e-12)
	for _, flat := range [][]float64{{1, 1, 1}, {1, 2}} {
		if _, ok := TrendOf([]float64{1, 2, 3}[:len(flat)], flat); ok {
			t.Errorf("a trend of %v", flat)
		}
	}
}

// Exact probabilities against all orders, one by one.
func TestChanceOf(t *testing.T) {
	for n := 2; n <= 7; n++ {
		counts, all := map[int]int{}, 0
		var walk func(order, left []int)
		walk = func(order, left []int) {
			if len(left) == 0 {
				s := 0
				for i := range order {
					for _, before := range order[:i] {
						s += sign(float64(order[i] - before))
					}
				}
				counts[s]++
				all++
			}
			for i := range left {
				rest := append(append([]int{}, left[:i]...), left[i+1:]...)
				walk(append(order[:len(order):len(order)], left[i]), rest)
			}
		}
		left := []int{1, 2, 3, 4, 5, 6, 7}[:n]
		walk(nil, left)
		for s := n * (n - 1) / 2; s >= 0; s -= 2 {
			few := 0
			for k, c := range counts {
				if k >= s {
					few += c
				}
			}
			near(t, "chance", chanceOf(n, s), float64(few)/float64(all), 1e-12)
		}
	}
}

// A straight line has its slope, whatever one value of nine is.
func TestTrendRobust(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slope := float64(rapid.IntRange(-9, 9).Draw(t, "slope"))
		x, y := make([]float64, 9), make([]float64, 9)
		for i := range x {
			x[i], y[i] = float64(i), 3+slope*float64(i)
		}
		y[rapid.IntRange(0, 8).Draw(t, "bad")] = rapid.Float64Range(-1e6, 1e6).Draw(t, "value")
		if tr, ok := TrendOf(x, y); ok && math.Abs(tr.Slope-slope) > 1e-9 {
			t.Fatalf("slope %v, want %v", tr.Slope, slope)
		}
	})
}

// Half drains at each sample: raw copper falls and rises, wear made climbs.
func TestWearTrend(t *testing.T) {
	var h History
	cu, at := 0.0, 0.0
	for i := range 6 {
		h = append(h, sample(at, cu), exchange(at, 0.5))
		at += 10_000
		cu = cu/2 + float64(10+i)
	}
	h = append(h, sample(at, cu))
	tr, why, ok := Sheet{History: h}.WearTrend("Cu")
	if !ok {
		t.Fatal(why)
	}
	near(t, "slope of the rate", tr.Slope, 1.0/10_000/10_000, 1e-15)
	if tr.P > 0.01 {
		t.Errorf("p = %v of a rate that only rises", tr.P)
	}
	_, why, ok = Sheet{History: h[:3]}.WearTrend("Cu")
	if want := "three samples with different rates of Cu"; ok || why != want {
		t.Errorf("of two samples: %v, %q; want %q", ok, why, want)
	}
}

// US DoD JOAP manual TM 38-301-3: "Trend should always be based on ppm increase per
// 10 hour interval", 4 ppm abnormal for the iron of engine A; under 5 h subject to error.
func TestRatePer10h(t *testing.T) {
	h := History{timed(sample(nan, 12), 0), timed(sample(nan, 20), 20*3600)}
	rate, _, _, _ := Sheet{History: h}.Rate("Cu")
	near(t, "per 10 h", RatePer10h(rate), 4, 1e-12)
	if ShortRun(5*3600) || !ShortRun(4.9*3600) {
		t.Error("5 h is not short, 4.9 h is")
	}
}

func TestDropped(t *testing.T) {
	metals := func(fe, cu, al float64) Step {
		return Step{Results: []Result{{"Fe", fe, false}, {"Cu", cu, false}, {"Al", al, false}, {"P", 300, false}}}
	}
	tests := []struct {
		name string
		h    History
		want bool
	}{
		{"all fell", History{metals(90, 40, 22), metals(20, 9, 5)}, true},
		{"one stayed", History{metals(90, 40, 22), metals(20, 40, 5)}, false},
		{"one rose", History{metals(90, 40, 22), metals(20, 9, 23)}, false},
		{"too little to fall", History{metals(90, 40, 0.3), metals(20, 9, 0.2)}, true},
		{"a drain is on record", History{metals(90, 40, 22), exchange(0, 1), metals(20, 9, 5)}, false},
		{"first sample", History{metals(20, 9, 5)}, false},
		{"two metals", History{sample(0, 90), with(sample(1, 20), Result{"P", 1, false})}, false},
	}
	for _, tt := range tests {
		if got := (Sheet{History: tt.h}).Dropped(); got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}
