package lab

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Extreme is one step of the generalised ESD test: the value farthest from the
// mean of those left, its distance in standard deviations and the critical value.
type Extreme struct {
	Index       int // of the value as it was given
	R, Critical float64
}

// Outliers runs the generalised extreme studentised deviate test (Rosner; EPA
// 530/R-09-007 section 12.4) for at most `most` outliers on either side at
// significance alpha and returns those found, the farthest first. With most = 1
// it is the two-sided test of Grubbs. It assumes normal values (give logarithms
// of skewed ones) and is trusted from 25 values, fairly from 15.
func Outliers(values []float64, most int, alpha float64) []Extreme {
	left := make([]int, len(values))
	x := make([]float64, len(values))
	for i, v := range values {
		left[i], x[i] = i, v
	}
	var steps []Extreme
	found := 0
	for len(steps) < most && len(x) > 2 {
		mean, sd := stat.MeanStdDev(x, nil)
		if !(sd > 0) {
			break
		}
		far := 0
		for i := range x {
			if math.Abs(x[i]-mean) > math.Abs(x[far]-mean) {
				far = i
			}
		}
		e := Extreme{Index: left[far], R: math.Abs(x[far]-mean) / sd, Critical: criticalESD(len(x), alpha)}
		steps = append(steps, e)
		// One masked by the next counts too: the last step that is beyond decides.
		if e.R > e.Critical {
			found = len(steps)
		}
		x = append(x[:far], x[far+1:]...)
		left = append(left[:far], left[far+1:]...)
	}
	return steps[:found]
}

// criticalESD is the critical value of the farthest of n values, two-sided.
func criticalESD(n int, alpha float64) float64 {
	m := float64(n)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: m - 2}.Quantile(1 - alpha/(2*m))
	return (m - 1) * t / math.Sqrt((m-2+float64(t*t))*m)
}
