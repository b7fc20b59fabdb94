package judge

import (
	"fmt"
	"strconv"

	"telltale/engine/lab"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

func rateNote(kind unit.Kind) note {
	return func(x *Facts, _ word.Word, arg string) string {
		within, _, ok := x.Sheet.RateError(arg, kind)
		return x.within(arg, x.v.rate(within, kind), ok)
	}
}

func (x *Facts) madeNote(_ word.Word, arg string) string {
	within, _, ok := x.Sheet.MadeError(arg)
	return x.within(arg, english.Figures(within), ok)
}

// toppedNote says what of what was made went with fluid that was consumed.
func (x *Facts) toppedNote(word.Word, string) string {
	litres := x.steps.ToppedUp(x.steps.LastExchange(len(x.steps.Steps) - 1))
	if litres == 0 {
		return ""
	}
	s := x.v.Litres(litres) + " topped up since the last change"
	if n := x.Sheet.Unhidden(); n > 1 {
		s += fmt.Sprintf("; %.0f %% of what was made left with the fluid that was consumed, and is counted in", 100-100/n)
	}
	return s
}

func (x *Facts) shortNote(word.Word, string) string {
	if x.Sheet.ShortRun() {
		return "over a run under 5 h a small error makes a large rate (JOAP manual)"
	}
	return ""
}

// statedNote says of the last exchange that nobody measured how much it renewed.
func (x *Facts) statedNote(word.Word, string) string {
	e := x.steps.LastExchange(len(x.steps.Steps) - 1)
	if e < 0 || !x.steps.Lab[e].Stated {
		return ""
	}
	return x.StatedWords(e)
}

// olderNote tells what softens and what does not.
func (x *Facts) olderNote(word.Word, string) string {
	n, _, ok := x.Older()
	if !ok || n <= 1 {
		return "the fluid is no older than the baseline's"
	}
	return OlderWords(n) + "; a warning is not softened"
}

func (x *Facts) usualNote(_ word.Word, arg string) string {
	u, _, ok := x.Sheet.Usual(arg)
	if !ok {
		return ""
	}
	return "made " + x.v.rate(u.Latest, u.Per) + " in " + x.v.per(u.Per) + "; usual here " +
		x.v.rate(u.Lower, u.Per) + " to " + x.v.rate(u.Upper, u.Per) + " (from " + strconv.Itoa(u.Rates) + " samples)"
}

func (x *Facts) freshNote(_ word.Word, arg string) string { return x.Sheet.FreshNote(arg) }

func (x *Facts) dilutionNote(_ word.Word, arg string) string {
	analyte, _ := target(arg)
	return lab.DilutionNote(analyte)
}

// drainNote is what the drains to a target come to.
func (x *Facts) drainNote(_ word.Word, arg string) string {
	n, _, ok := x.exchangesTo(arg)
	if !ok {
		return ""
	}
	l, _, ok := x.litresTo(arg)
	if !ok || n == 0 {
		return ""
	}
	return english.Plural(int(n), "drain") + " of " + x.v.Litres(l/n) + ", " + x.v.Litres(l) + " in all"
}

// Litres writes a volume with three figures that count, in the reader's unit.
func (v *View) Litres(litres float64) string {
	return v.writer().Figures(litres, unit.Volume)
}

func (x *Facts) reportedNote(analyte string) string {
	switch r, ok := x.Sheet.Result(analyte); {
	case ok && r.Censored:
		return "reported as below " + strconv.FormatFloat(r.Value, 'f', -1, 64)
	case ok && r.Above:
		return "reported as above " + strconv.FormatFloat(r.Value, 'f', -1, 64)
	}
	return ""
}

// within is how exact a difference of results can be.
func (x *Facts) within(analyte, figure string, ok bool) string {
	if !ok || x.inexact(analyte) {
		return ""
	}
	return "± " + figure + " by the method alone, " + lab.PrecisionOf(analyte).Source
}

// StatedWords say of the exchange at step e that nobody measured how much it renewed.
func (x *Facts) StatedWords(e int) string {
	return "how much fluid was changed was assumed from the task (" + english.Figures(100*x.steps.Lab[e].Share) + " %), not measured: an advisory at most"
}

// inexact reports whether the result or the one that it is compared with is a limit.
func (x *Facts) inexact(analyte string) bool {
	n := 0
	for i := len(x.steps.Steps) - 1; i >= 0 && n < 2; i-- {
		if x.steps.Steps[i].Sample == nil {
			continue
		}
		if r, ok := (lab.Sheet{History: x.steps.Lab[:i+1]}).Result(analyte); ok && (r.Censored || r.Above) {
			return true
		}
		n++
	}
	return false
}

// PerWords is what rates are told for, and how many metres or seconds that is.
func (v *View) PerWords(per unit.Kind) (string, float64) {
	if per != unit.Distance {
		return "100 h", 100 * 3600
	}
	u := v.Units().Distance
	base, _, _ := unit.Base(1000, u)
	return "1,000 " + u, base
}

// rate writes what a rate, by metres or seconds, comes to in what [View.per] names.
func (v *View) rate(value float64, by unit.Kind) string {
	if by != unit.Distance {
		return english.Figures(value * 100 * 3600)
	}
	return v.writer().Rate(value)
}

// per writes what rates are told for.
func (v *View) per(by unit.Kind) string {
	if by != unit.Distance {
		return "100 h"
	}
	return v.writer().Per()
}
