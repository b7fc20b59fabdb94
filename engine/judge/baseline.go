package judge

import (
	"cmp"
	"fmt"
	"math"

	"telltale/engine/usual"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/word"
)

// againstBaseline is the result over the mean, which may be scaled to the fluid's age.
func (x *Facts) againstBaseline(arg string, forAge bool) (float64, string, bool) {
	n, why, ok := x.Norm(arg)
	switch {
	case !ok:
		return 0, why, false
	case !forAge:
		return x.Sheet.Times(arg, x.meanOf(arg, &n))
	case n.Age == 0 && n.Fig != nil:
		return 0, "the age of the fluid in half of the samples of " + x.Fleet.GroupWords(), false
	case n.Age == 0:
		return 0, "the baseline's fluid age", false
	}
	return x.Sheet.TimesForAge(arg, x.meanOf(arg, &n), n.Age, n.Kind)
}

// deviations is how many standard deviations the result lies above the mean.
func (x *Facts) deviations(arg string) (float64, string, bool) {
	n, why, ok := x.Norm(arg)
	switch {
	case !ok:
		return 0, why, false
	case n.SD == 0 && n.Fig != nil:
		return 0, "a spread of " + analytes.Named(arg) + " in the fleet's baseline", false
	case n.SD == 0:
		return 0, "a baseline with a spread of " + analytes.Named(arg), false
	}
	return x.Sheet.Deviations(arg, x.meanOf(arg, &n), n.SD)
}

// Older is how many times the baseline's age the fluid has.
func (x *Facts) Older() (float64, string, bool) {
	if x.Baseline == nil {
		return 0, cmp.Or(x.Clash, "a baseline for the "+x.comp.Kind), false
	}
	of, kind := usual.Age(x.Baseline)
	if of == 0 {
		return 0, "the baseline's fluid age", false
	}
	if x.ageStated() {
		return 0, "a measured share of the exchange", false
	}
	age, why, ok := x.Sheet.MixedAge(kind)
	return age / of, why, ok
}

// percentile is the place of the result among those of its group, 0 to 100.
func (x *Facts) percentile(analyte string) (float64, string, bool) {
	if _, why, ok := x.Sheet.Value(analyte); !ok {
		return 0, why, false
	}
	if x.FleetOf == nil {
		return 0, cmp.Or(x.Clash, "a baseline made from the fleet for the "+x.comp.Kind), false
	}
	fig, why := x.Fleet.For(x.FleetOf, analyte)
	if fig == nil {
		return 0, why, false
	}
	return 100 * x.choose(endKey{x.of, placeStep, analyte}, *fig.Place, fig.Place.High), "", true
}

// baselineNote names the baseline that an answer rests on.
func (x *Facts) baselineNote(w word.Word, analyte string) string {
	if w == word.Fresh || w == word.Kept {
		of := x.FreshFrom()
		if of == nil || x.FleetOf != nil && of.Source == "" {
			return "" // it says nothing of fresh fluid
		}
		return "baseline " + of.Name + ", " + usual.AsOne(of.Source)
	}
	n, _, ok := x.Norm(analyte)
	if !ok {
		return ""
	}
	open, by, what := n.Open, 1.0, "mean"
	if w == word.Percentile {
		fig, _ := x.Fleet.For(x.FleetOf, analyte)
		open, by, what = *fig.Place, 100, "place"
	}
	if open.Low == open.High {
		return x.Named(&n)
	}
	round := func(v float64) string { return english.Number(math.Round(v*by*100) / 100) }
	return x.Named(&n) + fmt.Sprintf("; results below their limits leave the %s open, from %s to %s", what, round(open.Low), round(open.High))
}

// A mean, or a place, that results below their limits leave open is chosen like
// such a result: it has no step of its own.
const (
	meanStep  = -1
	placeStep = -2
	ownStep   = -3 // what earlier samples of its own leave open
)

// OlderWords tell a ratio that is scaled to the fluid's age from a plain one.
func OlderWords(n float64) string {
	return fmt.Sprintf("the fluid has run %.2g times as long as the baseline's, so about %.2g times the metal is expected; the metal is still there", n, n)
}
