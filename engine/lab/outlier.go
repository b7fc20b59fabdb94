package lab

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// extreme is one step of the generalised ESD test: the value farthest from the
// mean of those left, its distance in standard deviations and the critical value.
type extreme struct {
	Index       int // of the value as it was given
	R, Critical float64
}

// Outliers runs the generalised extreme studentised deviate test (Rosner; EPA
// 530/R-09-007 section 12.4) for at most `most` outliers on either side at
// significance alpha and returns those found, the farthest first. With most = 1
// it is the two-sided test of Grubbs. It assumes normal values (give logarithms
// of skewed ones) and is trusted from 25 values, fairly from 15.
func Outliers(values []float64, most int, alpha float64) []extreme {
	left := inOrder(values)
	var steps []extreme
	found := 0
	for len(steps) < most && left.n() > 2 {
		mean, sd := left.meanAndDeviation()
		if !(sd > 0) {
			break
		}
		far, v := left.farthest(mean)
		e := extreme{Index: far, R: math.Abs(v-mean) / sd, Critical: criticalESD(left.n()+1, alpha)}
		steps = append(steps, e)
		// One masked by the next counts too: the last step that is beyond decides.
		if e.R > e.Critical {
			found = len(steps)
		}
	}
	return steps[:found]
}

// shrinking is what is left of some values while the farthest from their mean are taken
// away: in order, so that the farthest lies at an end, with the sums of their distances
// from a centre and of those squared.
type shrinking struct {
	value      []float64
	index      []int // of the values as they were given
	centre     float64
	sum, sumSq float64
}

func inOrder(values []float64) *shrinking {
	s := &shrinking{value: make([]float64, len(values)), index: make([]int, len(values))}
	for i := range values {
		s.index[i] = i
	}
	slices.SortStableFunc(s.index, func(a, b int) int { return cmp.Compare(values[a], values[b]) })
	for i, at := range s.index {
		s.value[i] = values[at]
	}
	s.add()
	return s
}

func (s *shrinking) n() int { return len(s.value) }

// add sums up anew.
func (s *shrinking) add() {
	s.centre, s.sum, s.sumSq = 0, 0, 0
	if s.n() > 0 {
		s.centre = stat.Mean(s.value, nil)
	}
	for _, v := range s.value {
		d := v - s.centre
		s.sum += d
		s.sumSq += float64(d * d)
	}
}

func (s *shrinking) meanAndDeviation() (mean, sd float64) {
	n := float64(s.n())
	spread := func() float64 { return s.sumSq - float64(s.sum*s.sum)/n }
	if spread() < 1e-3*s.sumSq {
		s.add() // what was taken away outweighed the rest, of which it took the digits
	}
	return s.centre + s.sum/n, math.Sqrt(spread() / (n - 1))
}

// farthest takes the value farthest from the mean away.
func (s *shrinking) farthest(mean float64) (index int, v float64) {
	last := s.n() - 1
	if mean-s.value[0] >= s.value[last]-mean {
		index, v = s.index[0], s.value[0]
		s.index, s.value = s.index[1:], s.value[1:]
	} else {
		index, v = s.index[last], s.value[last]
		s.index, s.value = s.index[:last], s.value[:last]
	}
	d := v - s.centre
	s.sum -= d
	s.sumSq -= float64(d * d)
	return index, v
}

// criticalESD is the critical value of the farthest of n values, two-sided.
func criticalESD(n int, alpha float64) float64 {
	m := float64(n)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: m - 2}.Quantile(1 - alpha/(2*m))
	return (m - 1) * t / math.Sqrt((m-2+float64(t*t))*m)
}
