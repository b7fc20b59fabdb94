package lab

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

func censoredTable(t *testing.T, file string) []Result {
	t.Helper()
	values, flags := numbers(t, file, 0), numbers(t, file, 1)
	out := make([]Result, len(values))
	for i, v := range values {
		out[i] = Result{Analyte: "As", Value: v, Censored: flags[i] == 1}
	}
	return out
}

// Helsel's Oahu arsenic (24 values, 13 below a limit): Kaplan-Meier mean 0.949;
// robust ROS mean 0.972, sd 0.718, median 0.700. The published figures are from
// memory; the longer ones were computed independently from the same data.
func TestOahu(t *testing.T) {
	rs := censoredTable(t, "helsel_oahu_arsenic.csv")
	c := kaplanMeier(rs)
	low, high := c.Mean()
	near(t, "KM mean", low, 0.9490, 5e-5)
	if low != high || c.Rest != 0 {
		t.Errorf("mean %v to %v, rest %v; nothing lies below the least value", low, high, c.Rest)
	}
	filled, ok := ros(rs)
	if !ok || len(filled) != 24 {
		t.Fatalf("ros = %v, %v", filled, ok)
	}
	mean, sd := stat.MeanStdDev(filled, nil)
	near(t, "ros mean", mean, 0.9725, 5e-5)
	near(t, "ros sd", sd, 0.7180, 5e-5)
	near(t, "ros median", (filled[11]+filled[12])/2, 0.7, 5e-5)
}

// EPA 530/R-09-007 example 15-1, manganese (25 values, 6 below 2 or 5): robust ROS
// of the logarithms with a = 0 (Helsel and EPA) 2.277175, sd 1.261431.
func TestManganeseEPA(t *testing.T) {
	filled, ok := ros(censoredTable(t, "epa_15_1_manganese.csv"))
	if !ok {
		t.Fatal("not fitted")
	}
	for i, v := range filled {
		filled[i] = math.Log(v)
	}
	mean, sd := stat.MeanStdDev(filled, nil)
	near(t, "mean of logs", mean, 2.277175, 5e-7)
	near(t, "sd of logs", sd, 1.261431, 5e-7)
}

// The worked example of a public manual for regression on order statistics (.5< .5
// 1.0 1.5< 5 10 100); the plotting positions and the mean 16.6898 were computed
// independently from its inputs.
func TestPlottingPositions(t *testing.T) {
	rs := []Result{{Value: .5, Censored: true}, {Value: .5}, {Value: 1}, {Value: 1.5, Censored: true}, {Value: 5}, {Value: 10}, {Value: 100}}
	detects, limits := split(rs)
	e := exceedances(detects, limits)
	for i, want := range []float64{.317460, .444444, .678571, .785714, .892857} {
		near(t, "position", e.detected(detects, detects[i], i), want, 5e-7)
	}
	near(t, "position of <0.5", (1-e.at(.5))/2, .095238, 5e-7)
	near(t, "position of <1.5", (1-e.at(1.5))/2, .285714, 5e-7)
	filled, _ := ros(rs)
	near(t, "mean", stat.Mean(filled, nil), 16.6898, 5e-5)
}

func TestKaplanMeierBounds(t *testing.T) {
	c := kaplanMeier([]Result{{Value: 1, Censored: true}, {Value: 4}, {Value: 2, Censored: true}, {Value: 8}})
	low, high := c.Mean()
	near(t, "low: a quarter at 8, a quarter at 4, the rest at 0", low, 3, 1e-12)
	near(t, "high: the rest at 2", high, 4, 1e-12)
	if v, ok := c.Quantile(0.5); ok {
		t.Errorf("median = %v, want unknown", v)
	}
	if v, ok := c.Quantile(0.75); v != 4 || !ok {
		t.Errorf("75th = %v, %v, want 4", v, ok)
	}
	low, high = kaplanMeier([]Result{{Value: 1, Censored: true}, {Value: 3, Censored: true}}).Mean()
	if low != 0 || high != 3 {
		t.Errorf("nothing detected: %v to %v, want 0 to 3", low, high)
	}
	if _, ok := ros([]Result{{Value: 1}, {Value: 2}, {Value: 1, Censored: true}}); ok {
		t.Error("ros of two detected values")
	}
}

// With nothing censored the curve is the sample itself.
func TestKaplanMeierOfDetects(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(0, 100), 1, 30).Draw(t, "values")
		var rs []Result
		for _, v := range values {
			rs = append(rs, Result{Value: v})
		}
		low, high := kaplanMeier(rs).Mean()
		if mean := stat.Mean(values, nil); math.Abs(low-mean) > 1e-9 || low != high {
			t.Fatalf("mean %v to %v, want %v", low, high, mean)
		}
	})
}

// Quantile returns the least value that a share p of the distribution does not
// exceed; ok is false where that lies in the part of which nothing more is known.
func (c curve) Quantile(p float64) (v float64, ok bool) {
	under := 1.0
	for i := range c.Value {
		under -= c.Mass[i]
		if under < p-1e-12 {
			return c.Value[i], true
		}
	}
	return 0, false
}
