package judge

import (
	"cmp"
	"fmt"
	"math"

	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// againstBaseline is the result over the mean, which may be scaled to the fluid's age.
func (x *Facts) againstBaseline(arg string, forAge bool) (float64, string, bool) {
	n, why, ok := x.norm(arg)
	switch {
	case !ok:
		return 0, why, false
	case !forAge:
		return x.Sheet.Times(arg, x.meanOf(arg, &n))
	case n.Age == 0 && n.fig != nil:
		return 0, "the age of the fluid in half of the samples of " + x.Fleet.GroupWords(), false
	case n.Age == 0:
		return 0, "the baseline's fluid age", false
	}
	return x.Sheet.TimesForAge(arg, x.meanOf(arg, &n), n.Age, n.Kind)
}

// deviations is how many standard deviations the result lies above the mean.
func (x *Facts) deviations(arg string) (float64, string, bool) {
	n, why, ok := x.norm(arg)
	switch {
	case !ok:
		return 0, why, false
	case n.SD == 0 && n.fig != nil:
		return 0, "a spread of " + analytes.Named(arg) + " in the fleet's baseline", false
	case n.SD == 0:
		return 0, "a baseline with a spread of " + analytes.Named(arg), false
	}
	return x.Sheet.Deviations(arg, x.meanOf(arg, &n), n.SD)
}

// BaselineAge is the fluid's age at which the baseline's means were taken, in metres
// or seconds; 0 where it says none.
func BaselineAge(b *rules.Baseline) (age float64, kind unit.Kind) {
	if b.FluidAge.Distance != 0 {
		return b.FluidAge.Distance, unit.Distance
	}
	return b.FluidAge.Hours, unit.Time
}

// Older is how many times the baseline's age the fluid has.
func (x *Facts) Older() (float64, string, bool) {
	if x.Baseline == nil {
		return 0, cmp.Or(x.clash, "a baseline for the "+x.comp.Kind), false
	}
	of, kind := BaselineAge(x.Baseline)
	if of == 0 {
		return 0, "the baseline's fluid age", false
	}
	if x.ageStated() {
		return 0, "a measured share of the exchange", false
	}
	age, why, ok := x.Sheet.MixedAge(kind)
	return age / of, why, ok
}

// ofTheFleet has the facts answer from what the fleet's baselines say of the sample
// that they end with. In place of the book's baseline stands one with these figures,
// as far as they are plain numbers, for what shows them.
func (x *Facts) ofTheFleet(instead *rules.Baseline) {
	b := *x.Baseline
	x.fleetOf, x.instead = x.Baseline, instead
	if n := len(x.steps.Steps); n > 0 {
		x.Fleet = x.steps.Steps[n-1].Sample.Fleet
	}
	switch {
	case x.Fleet != nil && x.Fleet.Baseline == b.Name && x.Fleet.Samples > 0:
		x.Fleet.Show(&b)
	case instead != nil:
		b.Name, b.Source, b.Mean, b.Spread, b.FluidAge = instead.Name, instead.Source, instead.Mean, instead.Spread, instead.FluidAge
	}
	if b.Fresh == nil && instead != nil {
		b.Fresh = instead.Fresh
	}
	x.Baseline = &b
}

// percentile is the place of the result among those of its group, 0 to 100.
func (x *Facts) percentile(analyte string) (float64, string, bool) {
	if _, why, ok := x.Sheet.Value(analyte); !ok {
		return 0, why, false
	}
	if x.fleetOf == nil {
		return 0, cmp.Or(x.clash, "a baseline made from the fleet for the "+x.comp.Kind), false
	}
	fig, why := x.Fleet.For(x.fleetOf, analyte)
	if fig == nil {
		return 0, why, false
	}
	return 100 * x.choose(endKey{x.of, placeStep, analyte}, *fig.Place, fig.Place.High), "", true
}

// freshFrom is the baseline that says what fresh fluid contains.
func (x *Facts) freshFrom() *rules.Baseline {
	switch {
	case x.fleetOf == nil:
		return x.Baseline
	case x.fleetOf.Fresh == nil && x.instead != nil:
		return x.instead
	}
	return x.fleetOf
}

// baselineNote names the baseline that an answer rests on.
func (x *Facts) baselineNote(w word.Word, analyte string) string {
	if w == word.Fresh || w == word.Kept {
		of := x.freshFrom()
		if of == nil || x.fleetOf != nil && of.Source == "" {
			return "" // it says nothing of fresh fluid
		}
		return "baseline " + of.Name + ", " + asOne(of.Source)
	}
	n, _, ok := x.norm(analyte)
	if !ok {
		return ""
	}
	open, by, what := n.mean, 1.0, "mean"
	if w == word.Percentile {
		fig, _ := x.Fleet.For(x.fleetOf, analyte)
		open, by, what = *fig.Place, 100, "place"
	}
	if open.Low == open.High {
		return x.source(&n)
	}
	round := func(v float64) string { return english.Number(math.Round(v*by*100) / 100) }
	return x.source(&n) + fmt.Sprintf("; results below their limits leave the %s open, from %s to %s", what, round(open.Low), round(open.High))
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
