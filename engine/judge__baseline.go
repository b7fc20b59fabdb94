package engine

import (
	"fmt"
	"math"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// againstBaseline is the result over the mean, which may be scaled to the fluid's age.
func (x *facts) againstBaseline(arg string, forAge bool) (float64, string, bool) {
	if x.baseline == nil {
		return 0, "a baseline for the " + x.comp.Kind, false
	}
	b := x.baseline
	if x.fleetOf != nil {
		if fig, why := x.fleet.of(x.fleetOf, arg); fig != nil {
			return x.againstFleet(arg, fig, forAge)
		} else if x.instead == nil || x.instead.Mean[arg] == 0 {
			return 0, why, false
		}
		b = x.instead
	}
	mean, ok := b.Mean[arg]
	if !ok {
		return 0, "a baseline for " + arg, false
	}
	if !forAge {
		return x.sheet.Times(arg, mean)
	}
	age, kind := baselineAge(b)
	if age == 0 {
		return 0, "the baseline's fluid age", false
	}
	return x.sheet.TimesForAge(arg, mean, age, kind)
}

// deviations is how many standard deviations the result lies above the mean.
func (x *facts) deviations(arg string) (float64, string, bool) {
	if x.baseline == nil {
		return 0, "a baseline for the " + x.comp.Kind, false
	}
	b := x.baseline
	if x.fleetOf != nil {
		if fig, why := x.fleet.of(x.fleetOf, arg); fig != nil {
			mean := x.choose(endKey{meanStep, arg}, *fig.Mean, fig.Mean.High)
			if fig.SD == nil {
				return 0, "a spread of " + analytes.Named(arg) + " in the fleet's baseline", false
			}
			return x.sheet.Deviations(arg, mean, *fig.SD)
		} else if x.instead == nil || x.instead.Spread[arg] == 0 {
			return 0, why, false
		}
		b = x.instead
	}
	sd, ok := b.Spread[arg]
	if !ok {
		return 0, "a baseline with a spread of " + analytes.Named(arg), false
	}
	return x.sheet.Deviations(arg, b.Mean[arg], sd)
}

// baselineAge is the fluid's age at which the baseline's means were taken, in metres
// or seconds; 0 where it says none.
func baselineAge(b *rules.Baseline) (age float64, kind unit.Kind) {
	if b.FluidAge.Distance != 0 {
		return b.FluidAge.Distance, unit.Distance
	}
	return b.FluidAge.Hours, unit.Time
}

// older is how many times the baseline's age the fluid has.
func (x *facts) older() (float64, string, bool) {
	if x.baseline == nil {
		return 0, "a baseline for the " + x.comp.Kind, false
	}
	of, kind := baselineAge(x.baseline)
	if of == 0 {
		return 0, "the baseline's fluid age", false
	}
	if x.ageStated() {
		return 0, "a measured share of the exchange", false
	}
	age, why, ok := x.sheet.MixedAge(kind)
	return age / of, why, ok
}

// ofTheFleet has the facts answer from what the fleet's baselines say of the sample
// that they end with. In place of the book's baseline stands one with these figures,
// as far as they are plain numbers, for what shows them.
func (x *facts) ofTheFleet(instead *rules.Baseline) {
	b := *x.baseline
	x.fleetOf, x.instead = x.baseline, instead
	if n := len(x.steps.steps); n > 0 {
		x.fleet = x.steps.steps[n-1].sample.Fleet
	}
	switch {
	case x.fleet != nil && x.fleet.Baseline == b.Name && x.fleet.Samples > 0:
		x.fleet.show(&b)
	case instead != nil:
		b.Name, b.Source, b.Mean, b.Spread, b.FluidAge = instead.Name, instead.Source, instead.Mean, instead.Spread, instead.FluidAge
	}
	if b.Fresh == nil && instead != nil {
		b.Fresh = instead.Fresh
	}
	x.baseline = &b
}

// againstFleet answers times and timesForAge from the fleet's figures.
func (x *facts) againstFleet(analyte string, fig *FleetFigure, forAge bool) (float64, string, bool) {
	mean := x.choose(endKey{meanStep, analyte}, *fig.Mean, fig.Mean.High)
	if !forAge {
		return x.sheet.Times(analyte, mean)
	}
	if fig.Age == nil {
		return 0, fmt.Sprintf("the age of the fluid in half of the samples of %s", x.fleet.group()), false
	}
	kind := unit.Distance
	if x.fleet.Hours {
		kind = unit.Time
	}
	return x.sheet.TimesForAge(analyte, mean, *fig.Age, kind)
}

// percentile is the place of the result among those of its group, 0 to 100.
func (x *facts) percentile(analyte string) (float64, string, bool) {
	if _, why, ok := x.sheet.Value(analyte); !ok {
		return 0, why, false
	}
	if x.fleetOf == nil {
		return 0, "a baseline made from the fleet for the " + x.comp.Kind, false
	}
	fig, why := x.fleet.of(x.fleetOf, analyte)
	if fig == nil {
		return 0, why, false
	}
	return 100 * x.choose(endKey{placeStep, analyte}, *fig.Place, fig.Place.High), "", true
}

// freshFrom is the baseline that says what fresh fluid contains.
func (x *facts) freshFrom() *rules.Baseline {
	switch {
	case x.fleetOf == nil:
		return x.baseline
	case x.fleetOf.Fresh == nil && x.instead != nil:
		return x.instead
	}
	return x.fleetOf
}

// baselineNote names the baseline that an answer rests on.
func (x *facts) baselineNote(w rules.Word, analyte string) string {
	b := x.baseline
	if b == nil {
		return ""
	}
	if of := x.freshFrom(); w == rules.WordFresh || w == rules.WordKept {
		if x.fleetOf != nil && of.Source == "" {
			return "" // it says nothing of fresh fluid
		}
		return "baseline " + of.Name + ", " + of.Source
	}
	if x.fleetOf == nil {
		return "baseline " + b.Name + ", " + b.Source
	}
	fig, _ := x.fleet.of(x.fleetOf, analyte)
	if fig == nil {
		if x.instead == nil {
			return ""
		}
		return "baseline " + x.instead.Name + ", " + x.instead.Source
	}
	note := fmt.Sprintf("baseline %s, number %d of %s: %s of %s (%s)", x.fleetOf.Name, x.fleet.Number, x.fleet.Of,
		english.Plural(fig.N, "result"), english.Plural(fig.Vehicles, "vehicle"), x.fleet.group())
	open, by, what := *fig.Mean, 1.0, "mean"
	if w == rules.WordPercentile {
		open, by, what = *fig.Place, 100, "place"
	}
	if open.Low != open.High {
		round := func(v float64) string { return english.Number(math.Round(v*by*100) / 100) }
		note += fmt.Sprintf("; results below their limits leave the %s open, from %s to %s", what, round(open.Low), round(open.High))
	}
	return note
}

// A mean, or a place, that results below their limits leave open is chosen like
// such a result: it has no step of its own.
const (
	meanStep  = -1
	placeStep = -2
)

// olderWords tell a ratio that is scaled to the fluid's age from a plain one.
func olderWords(n float64) string {
	return fmt.Sprintf("the fluid has run %.2g times as long as the baseline's and is expected to hold about %.2g times the metal, and the metal is still there", n, n)
}
