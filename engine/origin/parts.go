package origin

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// near is by how much the score of a fit may be worse than the best and the fit still be
// told: less than that is no strong evidence against it (Kass and Raftery 1995, from
// memory: 6 in BIC).
const near = 6

// little is the share of an excess that is not worth a word. Common practice, no source.
const little = 0.05

// swap is a fit that is nearly as likely as the best, by what it has instead of what.
type swap struct {
	out, in []int
	*fit
}

// parts are the sources of the best fit, each with what may be there in its place.
func (s *sheet) parts(fits []fit) (parts []Part) {
	best := &fits[0]
	swaps := swapped(fits)
	all := together(best.of, swaps)
	slices.SortStableFunc(all, func(a, b []int) int {
		_, va := best.chief(a)
		_, vb := best.chief(b)
		return cmp.Compare(vb, va)
	})
	var before []int
	for _, of := range all {
		p := Part{Mixes: []Mix{best.mix(of)}}
		for _, o := range swaps {
			if slices.Contains(of, o.out[0]) {
				p.Mixes = append(p.Mixes, o.mix(append(without(of, o.out), o.in...)))
			}
		}
		j, value := best.chief(of)
		p.Analyte, p.Value = s.elements[j].Analyte, figures(value)
		p.Further = best.makes(before, j) > little*s.elements[j].Value
		parts, before = append(parts, p), append(before, of...)
	}
	return parts
}

// swapped are the fits near the best that have something instead of a part of it. Each
// part is told alone: a fit that has two things instead of two is left out where others
// have one each.
func swapped(fits []fit) (out []swap) {
	best := &fits[0]
	for i := range fits {
		f := &fits[i]
		s := swap{without(best.of, f.of), without(f.of, best.of), f}
		if f.score < best.score+near && len(s.out) > 0 && len(s.in) > 0 {
			out = append(out, s)
		}
	}
	all := slices.Clone(out)
	return slices.DeleteFunc(out, func(s swap) bool {
		return slices.ContainsFunc(all, func(o swap) bool {
			fewer := len(o.out) < len(s.out) || len(o.in) < len(s.in)
			return fewer && among(o.out, s.out) && among(o.in, s.in)
		})
	})
}

// among reports whether b has all of a.
func among(a, b []int) bool { return len(without(a, b)) == 0 }

// without is what a has and b has not.
func without(a, b []int) (out []int) {
	for _, v := range a {
		if !slices.Contains(b, v) {
			out = append(out, v)
		}
	}
	return out
}

// together parts the sources of the best fit: those that something else stands for as one
// stay together.
func together(of []int, swaps []swap) (parts [][]int) {
	for _, i := range of {
		parts = append(parts, []int{i})
	}
	for _, s := range swaps {
		var joined []int
		parts = slices.DeleteFunc(parts, func(p []int) bool {
			touched := len(without(p, s.out)) < len(p)
			if touched {
				joined = append(joined, p...)
			}
			return touched
		})
		parts = append(parts, joined)
	}
	return parts
}

// chief is the element of which some sources of the fit make most, and how much. What is
// left of it within its error is theirs too.
func (f *fit) chief(of []int) (j int, value float64) {
	for i := range f.elements {
		v := f.makes(of, i)
		if v > 0 && math.Abs(f.left[i]) <= normal95*math.Sqrt(f.variance[i]) {
			v += f.left[i]
		}
		if v > value {
			j, value = i, v
		}
	}
	return j, value
}

// mix tells how much there is of some sources of the fit.
func (f *fit) mix(of []int) (m Mix) {
	for _, s := range of {
		src, i := &f.sources[s], slices.Index(f.of, s)
		amount := f.made[i] / src.chief.mean() / 1000
		a := Amount{Source: src.Name, Family: src.Family, Amount: figures(amount),
			Error: figures(normal95 * amount * math.Hypot(f.sd[i]/f.made[i], src.chief.sd()/src.chief.mean()))}
		for _, share := range src.Shares {
			if !slices.Contains(a.From, share.Source) {
				a.From = append(a.From, share.Source)
			}
		}
		m = append(m, a)
	}
	slices.SortFunc(m, func(a, b Amount) int {
		return cmp.Or(strings.Compare(a.Family, b.Family), strings.Compare(a.Source, b.Source))
	})
	return m
}
