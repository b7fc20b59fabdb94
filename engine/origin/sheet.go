package origin

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

const (
	// step is half of that in which laboratories print, mg/kg; it adds to every error.
	// Common practice, no source.
	step = 0.5
	// whole is all that there can be, mg/kg.
	whole = 1e6
	// normal95 is how many standard deviations lie to either side, 95 times in 100.
	normal95 = 1.959964
)

// sheet is what is fitted: elements by sources.
type sheet struct {
	elements []element
	sources  []source
	penalty  float64 // for each source
}

// element is an excess with its standard deviation.
type element struct {
	Excess
	sd float64
}

// really reports whether it is more than its error.
func (e element) really() bool { return e.Value > e.sd*normal95 }

// source is a profile by the chief of its elements.
type source struct {
	*Profile
	chief     *Share
	ratio, sd []float64 // of each element to the chief
}

// Of reads the excesses, one of an element, by all sources that are known. It is nil where
// nothing is really more than usual. An excess that is no number, or has no error, or that
// cannot be, is left out.
func Of(excesses []Excess) *Reading { return of(profiles, excesses) }

func of(profiles []Profile, excesses []Excess) *Reading {
	all := measured(excesses)
	if !slices.ContainsFunc(all, element.really) {
		return nil
	}
	s := prepared(profiles, all)
	r, best := &Reading{}, s.nothing()
	if fits, unsolved := s.fits(); len(fits) > 0 && fits[0].score < best.score {
		best, r.Unsolved = fits[0], unsolved
		r.Parts, r.Explained = s.parts(fits), figures(best.explained)
	}
	for j, e := range s.elements {
		if e.Half > 0 {
			r.Middle = append(r.Middle, e.Analyte)
		}
		if e.really() && best.left[j] > normal95*math.Sqrt(best.variance[j]) {
			r.Beyond = append(r.Beyond, Beyond{e.Analyte, figures(best.left[j])})
		}
	}
	slices.SortStableFunc(r.Beyond, func(a, b Beyond) int { return cmp.Compare(b.Value, a.Value) })
	return r
}

// measured are the excesses that can be weighed, sorted.
func measured(excesses []Excess) (out []element) {
	for _, e := range excesses {
		sd := math.Hypot(math.Hypot(e.Error, step), e.Half) / normal95
		if math.Abs(e.Value) <= whole && e.Error >= 0 && sd <= whole {
			out = append(out, element{e, sd})
		}
	}
	slices.SortFunc(out, func(a, b element) int { return cmp.Compare(a.Analyte, b.Analyte) })
	return out
}

// prepared takes the sources that may be there, and the elements that some of them have or
// that are really more than usual.
func prepared(profiles []Profile, all []element) *sheet {
	s := &sheet{}
	for i := range profiles {
		if src, ok := candidate(&profiles[i], all); ok {
			s.sources = append(s.sources, src)
		}
	}
	for _, e := range all {
		has := func(src source) bool { return src.of(e.Analyte) != nil }
		if e.really() || slices.ContainsFunc(s.sources, has) {
			s.elements = append(s.elements, e)
		}
	}
	for i := range s.sources {
		s.sources[i].scale(s.elements)
	}
	s.penalty = math.Log(float64(len(s.elements))) + 2*math.Log(float64(len(profiles)))
	return s
}

// candidate reports whether the chief element of the profile was measured, and it or
// another of which there is half as much is really more than usual. No other source could
// be told, nor be more than twice its error.
func candidate(p *Profile, all []element) (s source, ok bool) {
	chief := &p.Shares[0]
	for i := range p.Shares {
		if p.Shares[i].mean() > chief.mean() {
			chief = &p.Shares[i]
		}
	}
	measured, really := false, false
	for _, e := range all {
		if share := p.of(e.Analyte); share != nil && share.mean() >= chief.mean()/2 {
			measured, really = measured || share == chief, really || e.really()
		}
	}
	return source{Profile: p, chief: chief}, measured && really
}

// scale brings the shares to the chief's, so that how much of a source is chief bears on
// how much of it there is, and not on whether it is there.
func (s *source) scale(elements []element) {
	s.ratio, s.sd = make([]float64, len(elements)), make([]float64, len(elements))
	for j, e := range elements {
		if share := s.of(e.Analyte); share != nil {
			s.ratio[j] = share.mean() / s.chief.mean()
			if share != s.chief {
				s.sd[j] = s.ratio[j] * math.Hypot(share.sd()/share.mean(), s.chief.sd()/s.chief.mean())
			}
		}
	}
}

// figures rounds to four that count.
func figures(v float64) float64 {
	out, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 3, 64), 64)
	if err != nil {
		return v
	}
	return out
}
