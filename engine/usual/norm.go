package usual

import (
	"fmt"
	"strings"

	"telltale/engine/fleet"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Norm is what is usual of one analyte, and where that comes from.
type Norm struct {
	lab.Norm
	Open lab.Span // of the mean: wider than a point where results below their limits leave it open
	// Of a baseline of the book, of figures from the fleet's own samples, or else of what
	// the sheet itself prints.
	Of  *rules.Baseline
	Fig *fleet.Figure
}

// Printed reports that it is the laboratory's own average, which the sheet prints.
func (n *Norm) Printed() bool { return n.Of == nil && n.Fig == nil }

// Starting marks a figure that stands until there is something better.
func (n *Norm) Starting() bool { return n.Of != nil && n.Of.Starting }

// Norm finds what is usual of the analyte: the fleet's own figures before those of the
// book, these before the averages that the sheet itself prints, and a starting figure
// where there is nothing better. ok is false where there is none, and why says what is
// missing.
func (x *Sources) Norm(analyte string) (n Norm, why string, ok bool) {
	if x.Clash != "" {
		return Norm{}, x.Clash, false
	}
	own := x.Baseline
	if x.FleetOf != nil {
		var fig *fleet.Figure
		if fig, why = x.Fleet.For(x.FleetOf, analyte); fig != nil {
			return x.ofFleet(fig), "", true
		}
		own = x.Instead
	}
	if n, ok = ofBook(own, analyte); ok {
		return n, "", true
	}
	if n, ok = x.ofSheet(analyte); ok {
		return n, "", true
	}
	if n, ok = ofBook(x.Starting, analyte); ok {
		return n, "", true
	}
	switch {
	case why != "":
	case x.Baseline == nil:
		why = "a baseline for the " + x.Kind
	default:
		why = "a baseline for " + analyte
	}
	return Norm{}, why, false
}

// ofBook is what a baseline of the book says of the analyte.
func ofBook(b *rules.Baseline, analyte string) (n Norm, ok bool) {
	if b == nil || b.Mean[analyte] == 0 {
		return Norm{}, false
	}
	n.Of, n.Mean, n.SD = b, b.Mean[analyte], b.Spread[analyte]
	n.Open = lab.Span{Low: n.Mean, High: n.Mean}
	n.Age, n.Kind = Age(b)
	n.Weak = b.Starting
	return n, true
}

// ofSheet is what the laboratory prints beside its results.
func (x *Sources) ofSheet(analyte string) (n Norm, ok bool) {
	if x.Printed == nil {
		return Norm{}, false
	}
	n.Mean, ok = x.Printed.Average(analyte)
	n.Open = lab.Span{Low: n.Mean, High: n.Mean}
	n.Age, n.Kind, _ = x.Printed.AverageAge(analyte)
	return n, ok
}

// ofFleet is what the fleet's samples say.
func (x *Sources) ofFleet(fig *fleet.Figure) (n Norm) {
	n.Fig, n.Open, n.Mean, n.Kind = fig, *fig.Mean, fig.Mean.High, unit.Distance
	if x.Fleet.Hours {
		n.Kind = unit.Time
	}
	if fig.SD != nil {
		n.SD = *fig.SD
	}
	if fig.Age != nil {
		n.Age = *fig.Age
	}
	return n
}

// Named names a norm for evidence.
func (x *Sources) Named(n *Norm) string {
	switch {
	case n.Fig != nil:
		return fmt.Sprintf("baseline %s, number %d of %s: %s of %s (%s)", x.FleetOf.Name, x.Fleet.Number, x.Fleet.Of,
			english.Plural(n.Fig.N, "result"), english.Plural(n.Fig.Vehicles, "vehicle"), x.Fleet.GroupWords())
	case n.Printed():
		return "average of the laboratory's sheet"
	case n.Starting():
		return "starting figure, " + AsOne(n.Of.Source)
	}
	return "baseline " + n.Of.Name + ", " + AsOne(n.Of.Source)
}

// AsOne is a source as one note: semicolons part notes, and of each a message shows the
// beginning.
func AsOne(source string) string { return strings.ReplaceAll(source, "; ", ", ") }

// Age is the fluid's age at which the baseline's means were taken, in metres
// or seconds; 0 where it says none.
func Age(b *rules.Baseline) (age float64, kind unit.Kind) {
	if b.FluidAge.Distance != 0 {
		return b.FluidAge.Distance, unit.Distance
	}
	return b.FluidAge.Hours, unit.Time
}
