package engine

import (
	"strconv"
	"strings"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// How each word of the rules is answered stands in this file, a row a word. What it is
// called, and in which unit its answer is, stands in the word's row in package rules.

// answer is how a word is answered. Each function gets the word's argument; what is
// missing for an answer is told in words.
type answer struct {
	number func(x *facts, arg string) (v float64, missing string, ok bool)
	truth  func(x *facts, arg string) (v bool, missing string, ok bool)
	// rests notes the events that the answer rests on. Where it is set the word is
	// asked of a sample, and there must be one.
	rests func(x *facts)
	notes []note // in the order in which they are told
}

// note says what stands behind an answer; "" for nothing.
type note func(x *facts, w rules.Word, arg string) string

// answers has a row for each word; a test holds it to that.
var answers = [...]answer{
	rules.WordOdometer:   {number: func(x *facts, _ string) (float64, string, bool) { return x.life(false) }},
	rules.WordHours:      {number: func(x *facts, _ string) (float64, string, bool) { return x.life(true) }},
	rules.WordPerDay:     {number: func(x *facts, _ string) (float64, string, bool) { return x.perDay() }},
	rules.WordSince:      {number: since(false)},
	rules.WordHoursSince: {number: since(true)},
	rules.WordDaysSince:  {number: (*facts).daysSince},
	rules.WordDueIn:      {number: (*facts).dueIn},
	rules.WordDaysToDue:  {number: (*facts).daysToDue},
	rules.WordDone:       {truth: func(x *facts, arg string) (bool, string, bool) { return x.done(arg), "", true }},

	rules.WordHas:        {truth: (*facts).has},
	rules.WordHasEarlier: {truth: func(x *facts, arg string) (bool, string, bool) { return x.sheet.HasEarlier(arg), "", true }},
	rules.WordBelow:      {truth: (*facts).below},
	rules.WordValue:      {number: onSheet(lab.Sheet.Value), rests: (*facts).restsOnSample},
	rules.WordFluidAge:   {number: ageBy(unit.Distance), rests: (*facts).restsOnSample},
	rules.WordFluidHours: {number: ageBy(unit.Time), rests: (*facts).restsOnSample},

	rules.WordTimes:       {number: against(false), rests: (*facts).restsOnSample, notes: []note{(*facts).baselineNote}},
	rules.WordTimesForAge: {number: against(true), rests: (*facts).restsOnAge, notes: []note{(*facts).baselineNote}},
	rules.WordTimesTheAge: {number: func(x *facts, _ string) (float64, string, bool) { return x.older() },
		rests: (*facts).restsOnSample, notes: []note{(*facts).olderNote}},
	rules.WordDeviations: {number: (*facts).deviations, rests: (*facts).restsOnSample, notes: []note{(*facts).baselineNote}},
	rules.WordPercentile: {number: (*facts).percentile, rests: (*facts).restsOnSample, notes: []note{(*facts).baselineNote}},

	rules.WordChange:       {number: onSheet(lab.Sheet.Change), rests: (*facts).restsOnChange},
	rules.WordChangeIsReal: {truth: isReal(lab.Sheet.ChangeIsReal), rests: (*facts).restsOnChange},
	rules.WordMetalsFell: {truth: func(x *facts, _ string) (bool, string, bool) { return x.sheet.Dropped() },
		rests: (*facts).restsOnChange},
	rules.WordRate:         {number: rateBy(unit.Distance), rests: (*facts).restsOnRun, notes: []note{(*facts).statedNote, rateNote(unit.Distance)}},
	rules.WordRateHours:    {number: rateBy(unit.Time), rests: (*facts).restsOnRun, notes: []note{(*facts).statedNote, rateNote(unit.Time), (*facts).shortNote}},
	rules.WordTrend:        {number: (*facts).trend, rests: (*facts).restsOnAll},
	rules.WordTrendIsReal:  {truth: (*facts).trendIsReal, rests: (*facts).restsOnAll},
	rules.WordOutOfControl: {truth: (*facts).outOfControl, rests: (*facts).restsOnAll, notes: []note{(*facts).usualNote}},

	rules.WordFresh:      {number: onSheet(lab.Sheet.FreshValue), rests: (*facts).restsOnSample, notes: []note{(*facts).baselineNote, (*facts).freshNote}},
	rules.WordKept:       {number: onSheet(lab.Sheet.Kept), rests: (*facts).restsOnSample, notes: []note{(*facts).baselineNote, (*facts).freshNote}},
	rules.WordCarried:    {number: onSheet(lab.Sheet.Carried), rests: (*facts).restsOnExchange, notes: []note{(*facts).freshNote, (*facts).statedNote}},
	rules.WordMade:       {number: onSheet(lab.Sheet.Made), rests: (*facts).restsOnExchange, notes: []note{(*facts).freshNote, (*facts).statedNote, (*facts).madeNote}},
	rules.WordMadeIsReal: {truth: isReal(lab.Sheet.MadeIsReal), rests: (*facts).restsOnExchange},
	rules.WordExpected:   {number: onSheet(lab.Sheet.Expected), rests: (*facts).restsOnExchange, notes: []note{(*facts).freshNote, (*facts).statedNote}},
	rules.WordExchangesTo: {number: (*facts).exchangesTo, rests: (*facts).restsOnLastDrain,
		notes: []note{(*facts).statedNote, (*facts).drainNote, (*facts).dilutionNote}},
	rules.WordLitresTo: {number: (*facts).litresTo, rests: (*facts).restsOnLastDrain,
		notes: []note{(*facts).statedNote, (*facts).drainNote, (*facts).dilutionNote}},

	rules.WordOutOfGrade: {number: onSheet(lab.Sheet.OutOfGrade), rests: (*facts).restsOnSample},
	rules.WordViscosityIndex: {number: func(x *facts, _ string) (float64, string, bool) { return x.sheet.ViscosityIndex() },
		rests: (*facts).restsOnSample},
}

// Number answers a word in base units.
func (x *facts) Number(w rules.Word, arg string) (float64, string, bool) {
	a := &answers[w]
	if missing, ok := x.rest(a); !ok {
		return 0, missing, false
	}
	return a.number(x, arg)
}

// Truth answers a word that is true or false.
func (x *facts) Truth(w rules.Word, arg string) (bool, string, bool) {
	a := &answers[w]
	if missing, ok := x.rest(a); !ok {
		return false, missing, false
	}
	return a.truth(x, arg)
}

// Note says what stands behind an answer: the baseline and its source, a result
// below its limit, a fresh value taken as nothing, how exact it can be.
func (x *facts) Note(w rules.Word, arg string) string {
	var notes []string
	if s := x.reportedNote(arg); s != "" {
		notes = append(notes, s)
	}
	for _, n := range answers[w].notes {
		if s := n(x, w, arg); s != "" {
			notes = append(notes, s)
		}
	}
	return strings.Join(notes, "; ")
}

func (x *facts) rest(a *answer) (missing string, ok bool) {
	if a.rests == nil {
		return "", true
	}
	if len(x.steps.steps) == 0 {
		return "a sample", false
	}
	a.rests(x)
	return "", true
}

// onSheet answers from the sample's sheet.
func onSheet(read func(lab.Sheet, string) (float64, string, bool)) func(*facts, string) (float64, string, bool) {
	return func(x *facts, arg string) (float64, string, bool) { return read(x.sheet, arg) }
}

func isReal(read func(lab.Sheet, string) (bool, string, bool)) func(*facts, string) (bool, string, bool) {
	return func(x *facts, arg string) (bool, string, bool) { return read(x.sheet, arg) }
}

func ageBy(kind unit.Kind) func(*facts, string) (float64, string, bool) {
	return func(x *facts, _ string) (float64, string, bool) { return x.sheet.AgeBy(kind) }
}

func rateBy(kind unit.Kind) func(*facts, string) (float64, string, bool) {
	return func(x *facts, arg string) (float64, string, bool) { return x.sheet.RateBy(arg, kind) }
}

func against(forAge bool) func(*facts, string) (float64, string, bool) {
	return func(x *facts, arg string) (float64, string, bool) { return x.againstBaseline(arg, forAge) }
}

func (x *facts) has(arg string) (bool, string, bool) {
	_, ok := x.sheet.Result(arg)
	return ok, "", true
}

func (x *facts) below(arg string) (bool, string, bool) {
	r, ok := x.sheet.Result(arg)
	return r.Censored, analytes.Named(arg) + " in the sample", ok
}

func (x *facts) trend(arg string) (float64, string, bool) {
	t, why, ok := x.sheet.WearTrend(arg, unit.Distance)
	return t.Slope, why, ok
}

// significant is the chance below which a trend is taken for real.
const significant = 0.05

func (x *facts) trendIsReal(arg string) (bool, string, bool) {
	t, why, ok := x.sheet.WearTrend(arg, unit.Distance)
	return t.P < significant, why, ok
}

func (x *facts) outOfControl(arg string) (bool, string, bool) {
	u, why, ok := x.sheet.Usual(arg)
	return u.Outside > 0, why, ok
}

// target is the argument of a word that asks for an analyte and a number; the rule's
// compiler wrote it.
func target(arg string) (analyte string, v float64) {
	analyte, number, _ := strings.Cut(arg, " ")
	v, _ = strconv.ParseFloat(number, 64)
	return analyte, v
}

func (x *facts) exchangesTo(arg string) (float64, string, bool) {
	return x.sheet.ExchangesTo(target(arg))
}

func (x *facts) litresTo(arg string) (float64, string, bool) {
	analyte, v := target(arg)
	return x.sheet.LitresTo(analyte, v, litres(x.def.Capacity))
}
