package trend

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// sulfate reads the data of EPA 530/R-09-007 (2009) example 17-6.
func sulfate(t *testing.T) (x, y []float64) {
	t.Helper()
	f, err := os.Open("../../testdata/epa_17_6_sulfate.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		for i, list := range []*[]float64{&x, &y} {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			*list = append(*list, v)
		}
	}
	return x, y
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, tol)
	}
}

// EPA 530/R-09-007 example 17-6, p. 17-33, sulfate, n 23: tau 0.7667984, z 5.107322,
// p 3.267574e-07, slope 26.6666667, 95 % interval 20.00000 to 35.71182, as
// computed by the R package EnvStats; S 194 and its variance 1428 of 253 pairs
// were computed independently.
func TestTrendEPA(t *testing.T) {
	tr, ok := Of(sulfate(t))
	if !ok || tr.S != 194 {
		t.Fatalf("trend = %+v, %v", tr, ok)
	}
	near(t, "variance", tr.Variance, 1428, 1e-9)
	near(t, "tau", tr.Tau, .7667984, 5e-8)
	near(t, "z", tr.Z, 5.107322, 5e-7)
	near(t, "p", tr.P, 3.267574e-07, 5e-13)
	near(t, "slope", tr.Slope, 26.6666667, 5e-8)
	near(t, "low", tr.Low, 20, 5e-6)
	near(t, "high", tr.High, 35.71182, 5e-6)
}

// Kendall, Rank Correlation Methods (1976), example 4.3, ties in both: S 34, Var(S) 203.30.
func TestTrendKendall(t *testing.T) {
	x := []float64{1.5, 1.5, 3, 4, 6, 6, 6, 8, 9.5, 9.5, 11, 12}
	y := []float64{2.5, 2.5, 7, 4.5, 1, 4.5, 6, 11.5, 11.5, 8.5, 8.5, 10}
	tr, _ := Of(x, y)
	if tr.S != 34 {
		t.Errorf("S = %d, want 34", tr.S)
	}
	near(t, "variance", tr.Variance, 203.30, 5e-3)
}

// EPA QA/G-9S (attribution from memory): 5 6 11 8 10 has S 6, exact one-sided
// p 14/120, slope 1.125.
func TestTrendSmall(t *testing.T) {
	tr, _ := Of([]float64{1, 2, 3, 4, 5}, []float64{5, 6, 11, 8, 10})
	if tr.S != 6 {
		t.Errorf("S = %d, want 6", tr.S)
	}
	near(t, "p", tr.P, 2*14/120.0, 1e-12)
	near(t, "slope", tr.Slope, 1.125, 1e-12)
	for _, none := range [][2][]float64{{{1, 2, 3}, {1, 1, 1}}, {{1, 1, 1}, {1, 2, 3}}, {{1, 2}, {1, 2}}, {{1, 2, 3}, {1, 2}}} {
		if _, ok := Of(none[0], none[1]); ok {
			t.Errorf("a trend of %v", none)
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
