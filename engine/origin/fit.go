package origin

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/combin"
)

const (
	// most is the greatest number of sources in a subset.
	most = 3
	// leastT is how many standard errors a source has at least (EPA-450/4-87-010).
	leastT = 2.0
	// singular is the condition from which on sources have the same shape: shares are known
	// to three figures at best, and the difference is then of rounding.
	singular = 1e5
	// rounds and settled end the search for the effective variances. The method's own
	// program ends when no source changes by more than 1 % (from memory).
	rounds, settled = 50, 1e-6
)

// sameShape is why a subset cannot be solved.
const sameShape = "they have the same shape in what was measured"

// fit is a subset of the sources, fitted.
type fit struct {
	*sheet
	of        []int     // the sources, ascending
	made, sd  []float64 // of each: mg/kg of its chief, and its standard error
	variance  []float64 // of each element
	left      []float64 // of each element: what the sources do not explain
	score     float64   // the lower, the likelier
	explained float64   // R² of what is more than usual, weighted
}

// subsets calls do with each subset of one to most of n sources, the smaller first.
func subsets(n int, do func([]int)) {
	for k := 1; k <= min(most, n); k++ {
		for g := combin.NewCombinationGenerator(n, k); g.Next(); {
			do(g.Combination(nil))
		}
	}
}

// fits are all subsets of which each source is there, the likeliest first; unsolved are
// the pairs that cannot be solved.
func (s *sheet) fits() (fits []fit, unsolved []Unsolved) {
	subsets(len(s.sources), func(of []int) {
		f, why := s.fitted(of)
		switch {
		case why == "" && f.there():
			fits = append(fits, f)
		case why != "" && len(of) == 2:
			unsolved = append(unsolved, Unsolved{[]string{s.sources[of[0]].Name, s.sources[of[1]].Name}, why})
		}
	})
	slices.SortStableFunc(fits, func(a, b fit) int { return cmp.Compare(a.score, b.score) })
	return fits, unsolved
}

// blank is a fit that has yet to be made.
func (s *sheet) blank(of []int) fit {
	n := len(s.elements)
	f := fit{sheet: s, of: of, made: make([]float64, len(of)), sd: make([]float64, len(of)), variance: make([]float64, n), left: make([]float64, n)}
	f.weigh()
	return f
}

// nothing is what is left where no source is there.
func (s *sheet) nothing() fit {
	f := s.blank(nil)
	f.judge()
	return f
}

// fitted fits a subset; why says that it cannot be solved.
func (s *sheet) fitted(of []int) (f fit, why string) {
	f = s.blank(of)
	for range rounds {
		before := slices.Clone(f.made)
		if !f.solve() {
			return f, sameShape
		}
		f.weigh()
		change := 0.0
		for i, m := range f.made {
			change = math.Max(change, math.Abs(m-before[i])/math.Abs(m))
		}
		if change < settled {
			f.judge()
			return f, ""
		}
	}
	return f, "the fit does not settle"
}

// weigh makes the variances by what the sources make.
func (f *fit) weigh() {
	for j, e := range f.elements {
		f.variance[j] = e.sd * e.sd
		for i, s := range f.of {
			spread := f.made[i] * f.sources[s].sd[j]
			f.variance[j] += float64(spread * spread)
		}
	}
}

// solve is weighted least squares by the variances, with all sources brought to one
// scale. It is false where the sources have the same shape.
func (f *fit) solve() bool {
	n := len(f.of)
	scale, right, normal := make([]float64, n), mat.NewVecDense(n, nil), mat.NewSymDense(n, nil)
	for i := range n {
		ratio, sum := f.sources[f.of[i]].ratio, 0.0
		for j, e := range f.elements {
			sum += float64(ratio[j] * e.Value / f.variance[j])
		}
		scale[i] = math.Sqrt(f.product(i, i))
		right.SetVec(i, sum/scale[i])
		for k := range i + 1 {
			normal.SetSym(i, k, f.product(i, k)/(scale[i]*scale[k]))
		}
	}
	var chol mat.Cholesky
	var made mat.VecDense
	var cov mat.SymDense
	if !chol.Factorize(normal) || chol.Cond() > singular || chol.SolveVecTo(&made, right) != nil || chol.InverseTo(&cov) != nil {
		return false
	}
	for i := range n {
		f.made[i], f.sd[i] = made.AtVec(i)/scale[i], math.Sqrt(cov.At(i, i))/scale[i]
	}
	return true
}

// product is that of two sources' ratios, weighted.
func (f *fit) product(i, k int) float64 {
	a, b, sum := f.sources[f.of[i]].ratio, f.sources[f.of[k]].ratio, 0.0
	for j := range a {
		sum += float64(a[j] * b[j] / f.variance[j])
	}
	return sum
}

// judge finds how likely it is, and what it leaves. The score is minus twice the logarithm
// of the likelihood, in which a wide variance counts against the sources that make it
// wide, and the penalty.
func (f *fit) judge() {
	total, unexplained, rest := 0.0, 0.0, 0.0
	f.score = f.penalty * float64(len(f.of))
	for j, e := range f.elements {
		f.left[j] = e.Value - f.makes(f.of, j)
		more := math.Max(e.Value, 0) // no source is asked to explain why there is less of something
		off := more - e.Value + f.left[j]
		total += float64(more * more / f.variance[j])
		unexplained += float64(off * off / f.variance[j])
		rest += float64(f.left[j] * f.left[j] / f.variance[j])
		f.score += math.Log(f.variance[j] / (e.sd * e.sd))
	}
	f.score += rest
	f.explained = 1 - unexplained/total
}

// makes is how much of an element some sources of the fit make, mg/kg.
func (f *fit) makes(of []int, j int) (v float64) {
	for i, s := range f.of {
		if slices.Contains(of, s) {
			v += float64(f.made[i] * f.sources[s].ratio[j])
		}
	}
	return v
}

// there reports whether each source is more than its error.
func (f *fit) there() bool {
	for i, m := range f.made {
		if !(m > leastT*f.sd[i]) {
			return false
		}
	}
	return true
}
