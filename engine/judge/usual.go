package judge

import (
	"fmt"
	"strings"

	"telltale/engine/fleet"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// norm is what is usual of one analyte, and where that comes from.
type norm struct {
	lab.Norm
	mean lab.Span // wider than a point where results below their limits leave it open
	// Of a baseline of the book, of figures from the fleet's own samples, or else of what
	// the sheet itself prints.
	of  *rules.Baseline
	fig *fleet.Figure
}

// printed reports that it is the laboratory's own average, which the sheet prints.
func (n *norm) printed() bool { return n.of == nil && n.fig == nil }

// starting marks a figure that stands until there is something better.
func (n *norm) starting() bool { return n.of != nil && n.of.Starting }

// norm finds what is usual of the analyte: the fleet's own figures before those of the
// book, these before the averages that the sheet itself prints, and a starting figure
// where there is nothing better. ok is false where there is none, and why says what is
// missing.
func (x *Facts) norm(analyte string) (n norm, why string, ok bool) {
	if x.clash != "" {
		return norm{}, x.clash, false
	}
	own := x.Baseline
	if x.fleetOf != nil {
		var fig *fleet.Figure
		if fig, why = x.Fleet.For(x.fleetOf, analyte); fig != nil {
			return x.normOfFleet(fig), "", true
		}
		own = x.instead
	}
	if n, ok = normOf(own, analyte); ok {
		return n, "", true
	}
	if n, ok = x.normOfSheet(analyte); ok {
		return n, "", true
	}
	if n, ok = normOf(x.starting, analyte); ok {
		return n, "", true
	}
	switch {
	case why != "":
	case x.Baseline == nil:
		why = "a baseline for the " + x.comp.Kind
	default:
		why = "a baseline for " + analyte
	}
	return norm{}, why, false
}

// normOf is what a baseline of the book says of the analyte.
func normOf(b *rules.Baseline, analyte string) (n norm, ok bool) {
	if b == nil || b.Mean[analyte] == 0 {
		return norm{}, false
	}
	n.of, n.Mean, n.SD = b, b.Mean[analyte], b.Spread[analyte]
	n.mean = lab.Span{Low: n.Mean, High: n.Mean}
	n.Age, n.Kind = BaselineAge(b)
	n.Weak = b.Starting
	return n, true
}

// normOfSheet is what the laboratory prints beside its results.
func (x *Facts) normOfSheet(analyte string) (n norm, ok bool) {
	if x.sheet == nil {
		return norm{}, false
	}
	n.Mean, ok = x.sheet.Average(analyte)
	n.mean = lab.Span{Low: n.Mean, High: n.Mean}
	n.Age, n.Kind, _ = x.sheet.AverageAge(analyte)
	return n, ok
}

// normOfFleet is what the fleet's samples say.
func (x *Facts) normOfFleet(fig *fleet.Figure) (n norm) {
	n.fig, n.mean, n.Mean, n.Kind = fig, *fig.Mean, fig.Mean.High, unit.Distance
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

// source names it for evidence.
func (x *Facts) source(n *norm) string {
	switch {
	case n.fig != nil:
		return fmt.Sprintf("baseline %s, number %d of %s: %s of %s (%s)", x.fleetOf.Name, x.Fleet.Number, x.Fleet.Of,
			english.Plural(n.fig.N, "result"), english.Plural(n.fig.Vehicles, "vehicle"), x.Fleet.GroupWords())
	case n.printed():
		return "average of the laboratory's sheet"
	case n.starting():
		return "starting figure, " + asOne(n.of.Source)
	}
	return "baseline " + n.of.Name + ", " + asOne(n.of.Source)
}

// asOne is a source as one note: semicolons part notes, and of each a message shows the
// beginning.
func asOne(source string) string { return strings.ReplaceAll(source, "; ", ", ") }

// meanOf chooses an end of a mean that results below their limits leave open.
func (x *Facts) meanOf(analyte string, n *norm) float64 {
	return x.choose(endKey{x.of, meanStep, analyte}, n.mean, n.mean.High)
}

// surplus is an excess that is the same for every choice of ends.
type surplus struct {
	lab.Excess
	missing string
	ok      bool
}

// Excess is what the sample holds of the analyte beyond what is usual; see
// [lab.Sheet.Excess].
func (x *Facts) Excess(analyte string) (e lab.Excess, missing string, ok bool) {
	if len(x.steps.Lab) == 0 {
		return lab.Excess{}, "a sample", false
	}
	if s, known := x.surplus[analyte]; known {
		return s.Excess, s.missing, s.ok
	}
	r, has := x.Sheet.Result(analyte)
	n, why, known := x.norm(analyte)
	own := x.ownPast(analyte)
	span := r.Span()
	exact := span.Low == span.High && n.mean.Low == n.mean.High && own.Span.Low == own.Span.High
	var group *lab.Norm
	if known {
		n.Mean = x.meanOf(analyte, &n)
		group = &n.Norm
	}
	past := 0.0
	if own.Samples > 0 {
		past = x.choose(endKey{x.of, ownStep, analyte}, own.Span, own.Span.High)
	}
	e, missing, ok = x.Sheet.Excess(analyte, group, past, own.Samples)
	if !ok && has {
		missing = why
	}
	if exact {
		x.surplus[analyte] = surplus{e, missing, ok}
	}
	return e, missing, ok
}

// Mean is what is usual of the analyte in what the sample is compared with.
type Mean struct {
	Value    float64 // in the analyte's base unit
	Starting bool    // it is a starting figure
	Printed  bool    // it is the average that the laboratory's sheet prints
}

// Mean gives what the sample is compared with; ok is false where nothing says, or results
// below their limits leave it open.
func (x *Facts) Mean(analyte string) (m Mean, ok bool) {
	if x.comp == nil {
		return Mean{}, false
	}
	n, _, ok := x.norm(analyte)
	return Mean{n.mean.High, n.starting(), ok && n.printed()}, ok && n.mean.Low == n.mean.High
}

// ownPast is what earlier samples had, reckoned once.
func (x *Facts) ownPast(analyte string) lab.Own {
	if own, known := x.own[analyte]; known {
		return own
	}
	if x.own == nil {
		n := len(x.steps.Lab[len(x.steps.Lab)-1].Results)
		x.own, x.surplus, x.past = make(map[string]lab.Own, n), make(map[string]surplus, n), lab.PastOf(x.steps.Lab)
	}
	fresh, _, _ := x.Sheet.FreshValue(analyte)
	own := x.past.Of(analyte, fresh)
	x.own[analyte] = own
	return own
}

// ofExcess answers a word from the excess.
func ofExcess(read func(*lab.Excess) float64) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, arg string) (float64, string, bool) {
		e, why, ok := x.Excess(arg)
		return read(&e), why, ok
	}
}

func (x *Facts) excessIsReal(arg string) (bool, string, bool) {
	e, why, ok := x.Excess(arg)
	return e.Real(), why, ok
}

// hasUsual reports whether there is a result, and something to compare it with.
func (x *Facts) hasUsual(arg string) (bool, string, bool) {
	_, why, ok := x.Excess(arg)
	return ok, why, true
}

// restsOnPast is of a result and of the earlier ones that weigh in.
func (x *Facts) restsOnPast() {
	x.restsOnAge()
	for i := range x.steps.Steps[:len(x.steps.Steps)-1] {
		if x.untold {
			return
		}
		if s := &x.steps.Steps[i]; s.Sample != nil {
			x.use(s.ID())
		}
	}
}

// usualTerms tell how what is usual came about.
func (x *Facts) usualTerms(w word.Word, arg string) string {
	e, _, ok := x.Excess(arg)
	if !ok {
		return ""
	}
	u := " " + analytes.UnitOf(arg)
	terms := []string{"usual " + english.Figures(e.Fresh+e.Usual) + u}
	if e.Fresh > 0 {
		terms = append(terms, "of it "+english.Figures(e.Fresh)+" in fresh fluid")
	}
	if e.Group > 0 && e.Older > 1 {
		terms = append(terms, fmt.Sprintf("for a fluid %s times as old as the baseline's", english.Short(e.Older)))
	}
	if e.Samples > 0 {
		terms = append(terms, fmt.Sprintf("weighed with %s of its own, %s beyond fresh", english.Plural(e.Samples, "earlier sample"), english.Figures(e.Own)))
	}
	if w != word.Usual {
		terms = append(terms, "method and spread account for "+english.Figures(e.Error)+u)
	}
	return strings.Join(terms, ", ")
}

// compared are the words that compare a result with what is usual.
var compared = [...]word.Word{word.Times, word.TimesForAge, word.Deviations, word.Usual, word.Excess, word.ExcessIsReal}

// standIn says that the rule compares a result with a figure that is not the fleet's own;
// "" where it does not.
func (x *Facts) standIn(r *rules.Rule) (says string) {
	for _, w := range compared {
		for _, a := range r.Asks(w) {
			n, _, ok := x.norm(a)
			_, has := x.Sheet.Result(a)
			switch {
			case !ok || !has:
			case n.starting():
				return "Compared with a starting figure, until samples of your own say what is usual."
			case n.printed():
				says = "Compared with the average that the laboratory prints."
			}
		}
	}
	return says
}
