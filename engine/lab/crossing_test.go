package lab

import (
	"math"
	"testing"
)

// Iron rises by 2 mg/kg in 1,000 km, with half drains between: the last of three
// samples holds 60 mg/kg, so 90 is 15,000 km away, whatever was drained.
func TestCrossingOf(t *testing.T) {
	for _, c := range []struct {
		name           string
		ages, measures []float64
		limit          float64
		want           Crossing
		ok             bool
	}{
		{"no drain", []float64{10e6, 20e6, 30e6}, []float64{20, 40, 60}, 90, Crossing{15e6, 15e6, 15e6}, true},
		{"half drains", []float64{40e6, 20e6, 30e6}, []float64{80, 40, 60}, 90, Crossing{15e6, 15e6, 15e6}, true},
		{"falling", []float64{10e6, 20e6, 30e6}, []float64{60, 40, 20}, 90, Crossing{}, false},
		{"reached", []float64{10e6, 20e6, 30e6}, []float64{20, 40, 90}, 90, Crossing{}, false},
		{"two samples", []float64{10e6, 20e6}, []float64{20, 40}, 90, Crossing{}, false},
		{"one age", []float64{10e6, 10e6, 10e6}, []float64{20, 40, 50}, 90, Crossing{}, false},
		{"hardly rising", []float64{10e6, 20e6, 30e6}, []float64{20, 19, 21}, 90, Crossing{69.0 / 2e-7, 69.0 / 5e-8, math.Inf(1)}, true},
	} {
		got, ok := CrossingOf(c.ages, c.measures, c.limit)
		near := func(a, b float64) bool { return a == b || math.Abs(a-b) < 1e-6*math.Abs(b) }
		if ok != c.ok || !near(got.Low, c.want.Low) || !near(got.Likely, c.want.Likely) || !near(got.High, c.want.High) {
			t.Errorf("%s: %v, %v", c.name, got, ok)
		}
	}
}
