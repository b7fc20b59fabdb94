package trend

import (
	"cmp"
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat/combin"
	"pgregory.net/rapid"
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
						s += cmp.Compare(order[i], before)
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

// z80 is the 90 % quantile of the normal distribution.
const z80 = 1.2815515655446004

func TestSlopeOfNoTime(t *testing.T) {
	if _, _, _, ok := Slope([]float64{1, 1}, []float64{2, 3}, z80); ok {
		t.Error("a slope at one moment")
	}
}

// On a line the slope is exact and certain; up to three wild points of twelve leave
// it between slopes of the line and do not carry it away.
func TestSlopeIsRobust(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		pace := float64(rapid.IntRange(-1000, 1000).Draw(r, "pace"))
		var x, y []float64
		for i := range 12 {
			x, y = append(x, float64(i)), append(y, pace*float64(i))
		}
		if s, low, high, _ := Slope(x, y, z80); s != pace || low != pace || high != pace {
			r.Fatalf("got %v, %v to %v on a line of %v", s, low, high, pace)
		}
		for range 3 {
			y[rapid.IntRange(0, 11).Draw(r, "wild")] = float64(rapid.IntRange(-1e6, 1e6).Draw(r, "value"))
		}
		if s, low, high, _ := Slope(x, y, z80); s != pace || low > s || high < s {
			r.Fatalf("got %v, %v to %v, with three wild points", s, low, high)
		}
	})
}

func TestAtRank(t *testing.T) {
	list := []float64{10, 20, 40}
	got := []float64{AtRank(list, -3), AtRank(list, 1), AtRank(list, 1.5), AtRank(list, 2.75), AtRank(list, 3), AtRank(list, 9)}
	if want := []float64{10, 10, 15, 35, 40, 40}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func BenchmarkTheilSen64(b *testing.B) {
	var x, y []float64
	for i := range 64 {
		x, y = append(x, float64(i)), append(y, float64(i*200+i*i%37))
	}
	b.ReportAllocs()
	for b.Loop() {
		Slope(x, y, z80)
	}
}

// Of three values without any trend the interval of the slope holds 0 in two of three
// orders, of four in 11 of 12, of five in 59 of 60: counted over all orders.
func TestSure(t *testing.T) {
	for n, want := range map[int]float64{3: 2. / 3, 4: 11. / 12, 5: 59. / 60} {
		x, y := make([]float64, n), make([]float64, n)
		all, held := 0, 0
		for _, order := range combin.Permutations(n, n) {
			for i, k := range order {
				x[i], y[i] = float64(i), float64(k)
			}
			tr, ok := Of(x, y)
			if !ok || tr.Sure != Sure(n) {
				t.Fatalf("%v: %+v, %v", y, tr, ok)
			}
			if all++; tr.Low <= 0 && tr.High >= 0 {
				held++
			}
		}
		if got := float64(held) / float64(all); math.Abs(got-want) > 1e-12 || n < 5 && got != Sure(n) || n == 5 && got < Sure(n) {
			t.Errorf("of %d: %v, want %v; said is %v", n, got, want, Sure(n))
		}
	}
}
