package engine

import (
	"cmp"
	"math"
	"strconv"
	"strings"
	"time"

	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// How each word of the rules is answered stands in this file, a row a word; what it is
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

// What answers rest on: the sample, and for words that look back the samples and
// exchanges before it.

func (x *facts) restsOnSample() { x.use(x.steps.steps[len(x.steps.steps)-1].id()) }

func (x *facts) restsOnAge() {
	x.restsOnSample()
	x.stated = x.stated || x.ageStated()
}

func (x *facts) restsOnAll() {
	x.restsOnSample()
	for i := range x.steps.steps[:len(x.steps.steps)-1] {
		x.useStep(i)
	}
}

func (x *facts) restsOnLastDrain() {
	x.restsOnSample()
	if e := lastExchange(x.steps, len(x.steps.steps)-1); e >= 0 {
		x.useStep(e)
	}
}

// restsOnChange goes back to the sample before; what was drained between makes no
// difference to a difference of results.
func (x *facts) restsOnChange() {
	x.restsOnSample()
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		x.use(x.steps.steps[i].id())
		if x.steps.steps[i].sample != nil {
			return
		}
	}
}

func (x *facts) restsOnRun() {
	x.restsOnSample()
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		x.useStep(i)
		if x.steps.steps[i].sample != nil {
			return
		}
	}
}

// restsOnExchange goes back to the sample before the last exchange.
func (x *facts) restsOnExchange() {
	x.restsOnSample()
	seen := false // an exchange; the sample before it ends the search
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		s := &x.steps.steps[i]
		if s.sample == nil || !seen {
			x.useStep(i)
		}
		if seen && s.sample != nil {
			x.useStep(i)
			return
		}
		seen = seen || s.service != nil
	}
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

// Of the schedule: how long since a task was done, how long until it is due.

const noMeter = "a reading of the odometer"

// reckoned is the task's due point and today's date.
func (x *facts) reckoned(task string) (d due, missing string, ok bool) {
	if d, ok = x.f.reckonNamed(task, x.def, x.before, x.at); !ok {
		missing = "the task " + strconv.Quote(task) + " on this vehicle"
	}
	return d, missing, ok
}

// today is the date of the judgement.
func (x *facts) today() interval.Date {
	return interval.DateOf(time.Unix(0, min(x.at, x.f.when.UnixNano())), x.f.applied().zone)
}

func lastDoneMissing(task string) string { return "when " + task + " was last done" }

// run is a distance or time from a task's work or to its due point, where both are known.
func run(v float64, task string) (float64, string, bool) {
	if math.IsNaN(v) {
		return 0, lastDoneMissing(task), false
	}
	return v, "", true
}

func (x *facts) daysSince(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || d.last == nil || d.last.Date.IsZero() {
		return 0, cmp.Or(missing, lastDoneMissing(task)), false
	}
	return float64(x.today().Sub(d.last.Date)), "", true
}

func (x *facts) daysToDue(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || !d.point.HasDate {
		return 0, cmp.Or(missing, "a due date of "+task), false
	}
	return float64(d.point.Date.Sub(x.today())), "", true
}

func (x *facts) dueIn(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok {
		return 0, missing, false
	}
	now, missing, ok := x.life(false)
	if !ok {
		return 0, missing, false
	}
	return run(d.point.Distance-now, task)
}

func since(hours bool) func(*facts, string) (float64, string, bool) {
	return func(x *facts, task string) (float64, string, bool) {
		d, missing, ok := x.reckoned(task)
		if !ok {
			return 0, missing, false
		}
		now, missing, ok := x.life(hours)
		if !ok {
			return 0, missing, false
		}
		switch {
		case d.last == nil:
			return 0, lastDoneMissing(task), false
		case hours:
			return run(now-d.last.Hours, task)
		}
		return run(now-d.last.Distance, task)
	}
}

// What stands behind answers.

func rateNote(kind unit.Kind) note {
	return func(x *facts, _ rules.Word, arg string) string {
		within, _, ok := x.sheet.RateError(arg, kind)
		_, per := x.f.perWords(kind)
		return x.within(arg, within*per, ok)
	}
}

func (x *facts) madeNote(_ rules.Word, arg string) string {
	within, _, ok := x.sheet.MadeError(arg)
	return x.within(arg, within, ok)
}

func (x *facts) shortNote(rules.Word, string) string {
	if x.sheet.ShortRun() {
		return "a run under 5 h makes a large rate of a small error (JOAP manual)"
	}
	return ""
}

// statedNote says of the last exchange that nobody measured how much it renewed.
func (x *facts) statedNote(rules.Word, string) string {
	e := lastExchange(x.steps, len(x.steps.steps)-1)
	if e < 0 || !x.steps.lab[e].Stated {
		return ""
	}
	return x.statedWords(e)
}

// olderNote tells what softens and what does not.
func (x *facts) olderNote(rules.Word, string) string {
	n, _, ok := x.older()
	if !ok || n <= 1 {
		return "the fluid is no older than the baseline's"
	}
	return olderWords(n) + "; a warning is not softened"
}

func (x *facts) usualNote(_ rules.Word, arg string) string {
	u, _, ok := x.sheet.Usual(arg)
	if !ok {
		return ""
	}
	per, base := x.f.perWords(u.Per)
	return "made " + english.Figures(u.Latest*base) + " in " + per + "; usual here, of " + strconv.Itoa(u.Rates) + " samples, are " +
		english.Figures(u.Lower*base) + " to " + english.Figures(u.Upper*base)
}

func (x *facts) freshNote(_ rules.Word, arg string) string { return x.sheet.FreshNote(arg) }

func (x *facts) dilutionNote(_ rules.Word, arg string) string {
	analyte, _ := target(arg)
	return lab.DilutionNote(analyte)
}

// drainNote is what the drains to a target come to.
func (x *facts) drainNote(_ rules.Word, arg string) string {
	n, _, ok := x.exchangesTo(arg)
	if !ok {
		return ""
	}
	l, _, ok := x.litresTo(arg)
	if !ok || n == 0 {
		return ""
	}
	volume := x.f.Book.Units.Volume
	amount := func(litres float64) string { return english.Figures(unit.From(litres, volume)) + " " + volume }
	return english.Plural(int(n), "drain") + " of " + amount(l/n) + ", " + amount(l) + " in all"
}
