package engine

import (
	"strconv"

	"telltale/engine/lab"
	"telltale/rules/english"
	"telltale/rules/unit"
)

func (x *facts) reportedNote(analyte string) string {
	switch r, ok := x.sheet.Result(analyte); {
	case ok && r.Censored:
		return "reported as below " + strconv.FormatFloat(r.Value, 'f', -1, 64)
	case ok && r.Above:
		return "reported as above " + strconv.FormatFloat(r.Value, 'f', -1, 64)
	}
	return ""
}

// within is how exact a difference of results can be.
func (x *facts) within(analyte string, v float64, ok bool) string {
	if !ok || x.inexact(analyte) {
		return ""
	}
	return "± " + english.Figures(v) + " by the method alone, " + lab.PrecisionOf(analyte).Source
}

// statedWords say of the exchange at step e that nobody measured how much it renewed.
func (x *facts) statedWords(e int) string {
	return "how much fluid was renewed was not told; its task says " + english.Figures(100*x.steps.lab[e].Share) + " %, on which no more than an advisory rests"
}

// inexact reports whether the result or the one that it is compared with is a limit.
func (x *facts) inexact(analyte string) bool {
	n := 0
	for i := len(x.steps.steps) - 1; i >= 0 && n < 2; i-- {
		if x.steps.steps[i].sample == nil {
			continue
		}
		if r, ok := (lab.Sheet{History: x.steps.lab[:i+1]}).Result(analyte); ok && (r.Censored || r.Above) {
			return true
		}
		n++
	}
	return false
}

// perWords is what rates are told for, and how many metres or seconds that is.
func (f *view) perWords(per unit.Kind) (string, float64) {
	if per != unit.Distance {
		return "100 h", 100 * 3600
	}
	base, _, _ := unit.Base(1000, f.Book.Units.Distance)
	return "1,000 " + f.Book.Units.Distance, base
}
