package lab

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

// The twin reckons mean and deviation anew at each step and looks at every value.
func slowOutliers(values []float64, most int, alpha float64) []extreme {
	x := slices.Clone(values)
	var steps []extreme
	found := 0
	for len(steps) < most && len(x) > 2 {
		mean, sd := stat.MeanStdDev(x, nil)
		far := 0
		for i := range x {
			if math.Abs(x[i]-mean) > math.Abs(x[far]-mean) {
				far = i
			}
		}
		steps = append(steps, extreme{slices.Index(values, x[far]), math.Abs(x[far]-mean) / sd, criticalESD(len(x), alpha)})
		if e := steps[len(steps)-1]; e.R > e.Critical {
			found = len(steps)
		}
		x = slices.Delete(x, far, far+1)
	}
	return steps[:found]
}

func TestOutliersAgainstTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfNDistinct(rapid.Float64Range(-5, 5), 5, 60, rapid.ID).Draw(t, "values")
		for i := range rapid.IntRange(0, 3).Draw(t, "far out") {
			values[i] += rapid.Float64Range(10, 1e9).Draw(t, "by")
		}
		for i := range values {
			values[i] += float64(i) * math.Pi * 1e-4 // of two that lie as far, either may be taken
		}
		most := rapid.IntRange(0, 8).Draw(t, "most")
		got, want := Outliers(values, most, 0.05), slowOutliers(values, most, 0.05)
		if len(got) != len(want) {
			t.Fatalf("found %v, the twin %v", got, want)
		}
		for i := range got {
			if got[i].Index != want[i].Index || math.Abs(got[i].R-want[i].R) > 1e-6*want[i].R || got[i].Critical != want[i].Critical {
				t.Fatalf("step %d: %v, the twin %v", i, got[i], want[i])
			}
		}
	})
}
