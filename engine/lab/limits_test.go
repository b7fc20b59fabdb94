package lab

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// published reads one column of a table of ../../testdata as text; the sources
// stand in the tables.
func published(t *testing.T, file string, column int) []string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", file))
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
	var out []string
	for _, row := range rows[1:] {
		out = append(out, row[column])
	}
	return out
}

func numbers(t *testing.T, file string, column int) []float64 {
	t.Helper()
	var out []float64
	for _, s := range published(t, file, column) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// NIST/SEMATECH e-Handbook 6.3.2.2, ten batches of flow rate: mean 50.81, limits
// 55.8041 and 45.8159, no point out.
func TestChartNIST(t *testing.T) {
	flow := numbers(t, "nist_individuals.csv", 1)
	c, ok := Chart(flow)
	if !ok || c.Out != nil {
		t.Fatalf("chart = %+v, %v", c, ok)
	}
	near(t, "centre", c.Centre, 50.81, 5e-5)
	near(t, "upper", c.Upper, 55.8041, 5e-5)
	near(t, "lower", c.Lower, 45.8159, 5e-5)
	c, _ = Chart([]float64{1, 1.1, 1, 1.1, 1, 1.1, 1, 1.1, 9})
	if len(c.Out) != 1 || c.Out[0] != 8 {
		t.Errorf("out = %v, want [8]", c.Out)
	}
	if _, ok := Chart([]float64{1}); ok {
		t.Error("a chart of one value")
	}
}

// NIST/SEMATECH e-Handbook 7.2.6.2: the 90th percentile is 95.1981 (rank 11.7).
func TestPercentileNIST(t *testing.T) {
	x := slices.Sorted(slices.Values(numbers(t, "nist_percentile.csv", 0)))
	near(t, "90th", percentile(x, 0.9), 95.19807, 1e-9)
	near(t, "printed", percentile(x, 0.9), 95.1981, 5e-5)
	near(t, "least", percentile(x, 0.01), 95.0610, 0)
	near(t, "greatest", percentile(x, 0.99), 95.1990, 0)
	near(t, "median of 1 2 3", percentile([]float64{1, 2, 3}, 0.5), 2, 0)
	if !math.IsNaN(percentile(nil, 0.5)) {
		t.Error("a percentile of nothing")
	}
}

// The same twelve gauge values: the 90th percentile has rank 11.7, so the value there
// has its place at 0.9; and what NIST prints of it comes back to four digits.
func TestPlaceOfNIST(t *testing.T) {
	x := slices.Sorted(slices.Values(numbers(t, "nist_percentile.csv", 0)))
	near(t, "90th", PlaceOf(x, 95.19807), 0.9, 1e-9)
	near(t, "printed", PlaceOf(x, 95.1981), 0.9, 1e-3)
	near(t, "least", PlaceOf(x, 95.0610), 1.0/13, 1e-12)
	near(t, "greatest", PlaceOf(x, 95.1990), 12.0/13, 1e-12)
	near(t, "under all", PlaceOf(x, 95), 0, 0)
	near(t, "over all", PlaceOf(x, 96), 1, 0)
	near(t, "two of 1 2 2 3", PlaceOf([]float64{1, 2, 2, 3}, 2), 0.5, 1e-12)
	if !math.IsNaN(PlaceOf(nil, 1)) {
		t.Error("a place among nothing")
	}
}

// PlaceOf undoes percentile, does not fall as the value rises, and is hardly
// changed by thinning.
func TestPlaceOfProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(0, 1000), 1, 400).Draw(t, "values")
		slices.Sort(x)
		n := float64(len(x))
		p := rapid.Float64Range(1/(n+1), n/(n+1)).Draw(t, "p")
		v := percentile(x, p)
		distinct := slices.Compact(slices.Clone(x))
		if got := PlaceOf(x, v); len(distinct) == len(x) && math.Abs(got-p) > 1e-6 && math.Abs(percentile(x, got)-v) > 1e-9*(1+v) {
			t.Fatalf("place of the %v-quantile is %v", p, got)
		}
		more := v + rapid.Float64Range(0, 100).Draw(t, "more")
		if a, b := PlaceOf(x, v), PlaceOf(x, more); b < a {
			t.Fatalf("place of %v is %v, of %v less: %v", v, a, more, b)
		}
		if a, b := PlaceOf(x, v), PlaceOf(Thinned(x, 199), v); len(distinct) == len(x) && math.Abs(a-b) > 1.0/200 {
			t.Fatalf("thinned, the place of %v is %v and not %v", v, b, a)
		}
	})
}

// NIST/SEMATECH e-Handbook 7.2.6.3, N 43, p 0.90, confidence 0.99: k1
// 1.8740 by the noncentral t, 4.4111 for N 6.
func TestToleranceNIST(t *testing.T) {
	near(t, "k1", toleranceFactor(43, 0.90, 0.99), 1.8740, 5e-5)
	near(t, "k1 of 6", toleranceFactor(6, 0.90, 0.99), 4.4111, 5e-5)
}

// EPA 530/R-09-007 example 17-3, p. 17-17: 95/95 upper tolerance limit of lognormal
// chrysene, n 8: log mean 2.5085773, sd 0.6279479, k 3.187, limit 4.510032, 90.9247.
func TestToleranceEPA(t *testing.T) {
	var logs []float64
	for _, v := range numbers(t, "epa_17_3_chrysene.csv", 0) {
		logs = append(logs, math.Log(v))
	}
	mean, sd := stat.MeanStdDev(logs, nil)
	near(t, "log mean", mean, 2.5085773, 5e-8)
	near(t, "log sd", sd, 0.6279479, 5e-8)
	k := toleranceFactor(len(logs), 0.95, 0.95)
	near(t, "k", k, 3.187, 5e-4)
	near(t, "limit", mean+k*sd, 4.510032, 5e-7)
	near(t, "limit in ppb", math.Exp(mean+k*sd), 90.9247, 5e-5)
}

// EPA 530/R-09-007 example 18-1, p. 18-9: mean 27.51667, sd 17.10119, upper
// prediction limit of 4 future values at 95 % 73.67237.
func TestPredictionEPA(t *testing.T) {
	background := numbers(t, "epa_18_1_arsenic.csv", 0)
	mean, sd := stat.MeanStdDev(background, nil)
	near(t, "mean", mean, 27.51667, 5e-6)
	near(t, "sd", sd, 17.10119, 5e-6)
	near(t, "limit", predictionLimit(background, 4, 0.95), 73.67237, 5e-6)
}

// EPA 530/R-09-007 example 12-4, p. 12-12 (Rosner, k 2): R 3.930957 and 4.160223
// against 2.821681 and 2.801551; 35.45 and 23.23 are outliers. The first alone is
// masked by the second in a test that stops too early.
func TestOutliersEPA(t *testing.T) {
	x := numbers(t, "epa_12_4_naphthalene.csv", 0)
	got := Outliers(x, 2, 0.05)
	if len(got) != 2 || x[got[0].Index] != 35.45 || x[got[1].Index] != 23.23 {
		t.Fatalf("outliers = %+v", got)
	}
	near(t, "R1", got[0].R, 3.930957, 5e-7)
	near(t, "R2", got[1].R, 4.160223, 5e-7)
	near(t, "critical 1", got[0].Critical, 2.821681, 5e-7)
	near(t, "critical 2", got[1].Critical, 2.801551, 5e-7)
}

// NIST/SEMATECH e-Handbook 1.3.5.17.1 (Grubbs): G 2.468765; critical 2.031652
// one-sided (printed 2.032), which is two-sided at twice the significance, and
// 2.126645 two-sided.
func TestGrubbsNIST(t *testing.T) {
	x := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	one, two := Outliers(x, 1, 0.10), Outliers(x, 1, 0.05)
	if len(one) != 1 || one[0].Index != 7 || len(two) != 1 {
		t.Fatalf("outliers = %+v, %+v", one, two)
	}
	near(t, "G", one[0].R, 2.468765, 5e-7)
	near(t, "one-sided", one[0].Critical, 2.031652, 5e-7)
	near(t, "two-sided", two[0].Critical, 2.126645, 5e-7)
	if got := Outliers([]float64{1, 1, 1, 1}, 2, 0.05); len(got) != 0 {
		t.Errorf("outliers of equal values = %v", got)
	}
}

// NIST StRD, univariate: NumAcc1 (mean 10000002, sd 1), NumAcc2 (1.2, 0.1), NumAcc3
// (1000000.2, 0.1) and NumAcc4 (10000000.2, 0.1), all exact, which are built by rule; and Norris for the
// straight line behind the regression on order statistics.
func TestNumericalAccuracyNIST(t *testing.T) {
	mean, sd := stat.MeanStdDev([]float64{10000001, 10000003, 10000002}, nil)
	near(t, "NumAcc1 mean", mean, 10000002, 0)
	near(t, "NumAcc1 sd", sd, 1, 1e-15)
	for mean, sd := range map[float64]float64{1.2: 0.1, 1000000.2: 0.1} { // NumAcc2 and NumAcc3
		x := []float64{mean}
		for range 500 {
			x = append(x, mean-sd, mean+sd)
		}
		gotMean, gotSD := stat.MeanStdDev(x, nil)
		near(t, "NumAcc mean", gotMean, mean, 1e-8)
		near(t, "NumAcc sd", gotSD, sd, 1e-8)
	}
	x := []float64{10000000.2}
	for range 500 {
		x = append(x, 10000000.1, 10000000.3)
	}
	mean, sd = stat.MeanStdDev(x, nil)
	near(t, "NumAcc4 mean", mean, 10000000.2, 1e-8)
	near(t, "NumAcc4 sd", sd, 0.1, 1e-8)

	b0, b1 := stat.LinearRegression(numbers(t, "nist_norris.csv", 1), numbers(t, "nist_norris.csv", 0), nil, false)
	near(t, "Norris B0", b0, -0.262323073774029, 1e-12)
	near(t, "Norris B1", b1, 1.00211681802045, 1e-14)
}
