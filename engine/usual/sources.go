// Package usual says what is usual of an analyte for one component, and by whose figures: the
// fleet's own, the book's, what the laboratory prints, or a starting figure. It does not
// know what the sample holds.
package usual

import (
	"telltale/engine/fleet"
	"telltale/engine/record"
	"telltale/rules"
)

// Sources are what may say it, of one component and one of its samples.
type Sources struct {
	Kind     string // the component's
	Baseline *rules.Baseline
	// Where the book has it made from the fleet, FleetOf is the book's, Fleet what it
	// says of the sample (nil: nothing) and Instead counts for what it does not say.
	FleetOf *rules.Baseline
	Fleet   *fleet.Figures
	Instead *rules.Baseline
	// Starting says what is usual where nothing better does; nil for nothing.
	Starting *rules.Baseline
	Printed  *record.Sheet // with the laboratory's own averages; nil where there is no sample
	Clash    string        // of two baselines that both match, what is missing; "" where there are none
}

// FreshFrom is the baseline that says what fresh fluid contains.
func (x *Sources) FreshFrom() *rules.Baseline {
	switch {
	case x.FleetOf == nil:
		return x.Baseline
	case x.FleetOf.Fresh == nil && x.Instead != nil:
		return x.Instead
	}
	return x.FleetOf
}

// OfTheFleet has the fleet's figures of the sample answer, nil for none, and else the
// baseline instead. In place of the book's baseline stands one with these figures, as far
// as they are plain numbers, for what shows them.
func (x *Sources) OfTheFleet(figures *fleet.Figures, instead *rules.Baseline) {
	b := *x.Baseline
	x.FleetOf, x.Fleet, x.Instead = x.Baseline, figures, instead
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
