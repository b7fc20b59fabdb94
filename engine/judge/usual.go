package judge

import (
	"fmt"
	"strings"

	"telltale/engine/lab"
	"telltale/engine/usual"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/word"
)

// meanOf chooses an end of a mean that results below their limits leave open.
func (x *Facts) meanOf(analyte string, n *usual.Norm) float64 {
	return x.choose(endKey{x.of, meanStep, analyte}, n.Open, n.Open.High)
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
	n, why, known := x.Norm(analyte)
	own := x.ownPast(analyte)
	span := r.Span()
	exact := span.Low == span.High && n.Open.Low == n.Open.High && own.Span.Low == own.Span.High
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
	n, _, ok := x.Norm(analyte)
	return Mean{n.Open.High, n.Starting(), ok && n.Printed()}, ok && n.Open.Low == n.Open.High
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
			n, _, ok := x.Norm(a)
			_, has := x.Sheet.Result(a)
			switch {
			case !ok || !has:
			case n.Starting():
				return "Compared with a starting figure, until samples of your own say what is usual."
			case n.Printed():
				says = "Compared with the average that the laboratory prints."
			}
		}
	}
	return says
}
