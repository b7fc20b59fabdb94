package engine

import (
	"math"
	"strconv"
	"strings"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/unit"
)

// Note says what stands behind an answer: the baseline and its source, a result
// below its limit, a fresh value taken as nothing, how exact it can be.
func (x *facts) Note(w rules.Word, arg string) string {
	var notes []string
	add := func(s string) {
		if s != "" {
			notes = append(notes, s)
		}
	}
	add(x.reportedNote(arg))
	switch w {
	case rules.WordTimes, rules.WordTimesForAge, rules.WordDeviations, rules.WordFresh, rules.WordKept, rules.WordPercentile:
		add(x.baselineNote(w, arg))
	case rules.WordTimesTheAge:
		add(x.olderNote())
	}
	switch w {
	case rules.WordCarried, rules.WordMade, rules.WordExpected, rules.WordFresh, rules.WordKept:
		add(x.sheet.FreshNote(arg))
	}
	switch w {
	case rules.WordCarried, rules.WordMade, rules.WordExpected, rules.WordRate, rules.WordRateHours, rules.WordExchangesTo, rules.WordLitresTo:
		if e := lastExchange(x.steps, len(x.steps.steps)-1); e >= 0 && x.steps.lab[e].Stated {
			add(x.statedNote(e))
		}
	}
	switch w {
	case rules.WordMade:
		within, _, ok := x.sheet.MadeError(arg)
		add(x.within(arg, within, "", ok))
	case rules.WordRate:
		within, _, ok := x.sheet.RateError(arg, unit.Distance)
		base, _, _ := unit.Base(1000, x.f.Book.Units.Distance)
		add(x.within(arg, within*base, "", ok))
	case rules.WordRateHours:
		within, _, ok := x.sheet.RateError(arg, unit.Time)
		add(x.within(arg, within*100*3600, "", ok))
		if x.sheet.ShortRun() {
			add("a run under 5 h makes a large rate of a small error (JOAP manual)")
		}
	case rules.WordExchangesTo, rules.WordLitresTo:
		of, number, _ := strings.Cut(arg, " ")
		target, _ := strconv.ParseFloat(number, 64)
		add(x.drainNote(of, target))
		add(lab.DilutionNote(of))
	case rules.WordOutOfControl:
		if u, _, ok := x.sheet.Usual(arg); ok {
			add(x.usualNote(u))
		}
	}
	return strings.Join(notes, "; ")
}

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
func (x *facts) within(analyte string, v float64, unit string, ok bool) string {
	if !ok || x.inexact(analyte) {
		return ""
	}
	return "± " + figures(v) + unit + " by the method alone, " + lab.PrecisionOf(analyte).Source
}

// statedNote says of the exchange at step e that nobody measured how much it renewed.
func (x *facts) statedNote(e int) string {
	return "how much fluid was renewed was not told; its task says " + figures(100*x.steps.lab[e].Share) + " %, on which no more than an advisory rests"
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

// olderNote tells what softens and what does not.
func (x *facts) olderNote() string {
	n, _, ok := x.older()
	if !ok || n <= 1 {
		return "the fluid is no older than the baseline's"
	}
	return olderWords(n) + "; a warning is not softened"
}

// drainNote is what the drains to a target come to.
func (x *facts) drainNote(analyte string, target float64) string {
	n, _, ok := x.sheet.ExchangesTo(analyte, target)
	if !ok {
		return ""
	}
	l, _, ok := x.sheet.LitresTo(analyte, target, litres(x.def.Capacity))
	if !ok || n == 0 {
		return ""
	}
	volume := x.f.Book.Units.Volume
	s := "s"
	if n == 1 {
		s = ""
	}
	return strconv.Itoa(int(n)) + " drain" + s + " of " + figures(unit.From(l/n, volume)) + " " + volume + ", " + figures(unit.From(l, volume)) + " " + volume + " in all"
}

func (x *facts) usualNote(u lab.Usual) string {
	per, base := x.f.perWords(u.Per)
	return "made " + figures(u.Latest*base) + " in " + per + "; usual here, of " + strconv.Itoa(u.Rates) + " samples, are " +
		figures(u.Lower*base) + " to " + figures(u.Upper*base)
}

// perWords is what rates are told for, and how many metres or seconds that is.
func (f *view) perWords(per unit.Kind) (string, float64) {
	if per != unit.Distance {
		return "100 h", 100 * 3600
	}
	base, _, _ := unit.Base(1000, f.Book.Units.Distance)
	return "1,000 " + f.Book.Units.Distance, base
}

// figures writes a number with three figures that count.
func figures(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return rules.Format(v)
	}
	p := math.Pow10(2 - int(math.Floor(math.Log10(math.Abs(v)))))
	return rules.Format(math.Round(v*p) / p)
}
