package judge

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/rules/analytes"
	"telltale/rules/applies"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// How each word of the rules is answered stands in this file, a row a word. What it is
// called, and in which unit its answer is, stands in the word's row in package rules.

// answer is how a word is answered. Each function gets the word's argument; what is
// missing for an answer is told in words.
type answer struct {
	number func(x *Facts, arg string) (v float64, missing string, ok bool)
	truth  func(x *Facts, arg string) (v bool, missing string, ok bool)
	// rests notes the events that the answer rests on. Where it is set the word is
	// asked of a sample, and there must be one.
	rests func(x *Facts)
	notes []note // in the order in which they are told
}

// note says what stands behind an answer; "" for nothing.
type note func(x *Facts, w word.Word, arg string) string

// answers has a row for each word; a test holds it to that.
var answers = [...]answer{
	word.Odometer:   {number: func(x *Facts, _ string) (float64, string, bool) { return x.life(false) }},
	word.Hours:      {number: func(x *Facts, _ string) (float64, string, bool) { return x.life(true) }},
	word.PerDay:     {number: func(x *Facts, _ string) (float64, string, bool) { return x.perDay() }},
	word.Since:      {number: since(false)},
	word.HoursSince: {number: since(true)},
	word.DaysSince:  {number: (*Facts).daysSince},
	word.DueIn:      {number: (*Facts).dueIn},
	word.DaysToDue:  {number: (*Facts).daysToDue},
	word.Done:       {truth: func(x *Facts, arg string) (bool, string, bool) { return x.done(arg), "", true }},

	word.Has:        {truth: (*Facts).has},
	word.HasEarlier: {truth: (*Facts).hasEarlier},
	word.Below:      {truth: (*Facts).below},
	word.Value:      {number: onSheet(lab.Sheet.Value), rests: (*Facts).restsOnSample},
	word.FluidAge:   {number: ageBy(unit.Distance), rests: (*Facts).restsOnSample},
	word.FluidHours: {number: ageBy(unit.Time), rests: (*Facts).restsOnSample},

	word.Times:       {number: against(false), rests: (*Facts).restsOnSample, notes: []note{(*Facts).baselineNote}},
	word.TimesForAge: {number: against(true), rests: (*Facts).restsOnAge, notes: []note{(*Facts).baselineNote}},
	word.TimesTheAge: {number: func(x *Facts, _ string) (float64, string, bool) { return x.Older() },
		rests: (*Facts).restsOnSample, notes: []note{(*Facts).olderNote}},
	word.Usual: {number: ofExcess(func(e *lab.Excess) float64 { return e.Fresh + e.Usual }), rests: (*Facts).restsOnPast,
		notes: []note{(*Facts).usualTerms, (*Facts).baselineNote}},
	word.Excess: {number: ofExcess(func(e *lab.Excess) float64 { return e.Excess }), rests: (*Facts).restsOnPast,
		notes: []note{(*Facts).usualTerms, (*Facts).baselineNote}},
	word.ExcessIsReal: {truth: (*Facts).excessIsReal, rests: (*Facts).restsOnPast, notes: []note{(*Facts).usualTerms}},
	word.HasUsual:     {truth: (*Facts).hasUsual},
	word.Deviations:   {number: (*Facts).deviations, rests: (*Facts).restsOnSample, notes: []note{(*Facts).baselineNote}},
	word.Percentile:   {number: (*Facts).percentile, rests: (*Facts).restsOnSample, notes: []note{(*Facts).baselineNote}},

	word.Change:       {number: onSheet(lab.Sheet.Change), rests: (*Facts).restsOnChange},
	word.ChangeIsReal: {truth: isReal(lab.Sheet.ChangeIsReal), rests: (*Facts).restsOnChange},
	word.MetalsFell: {truth: func(x *Facts, _ string) (bool, string, bool) { return x.Sheet.Dropped() },
		rests: (*Facts).restsOnChange},
	word.Rate:         {number: rateBy(unit.Distance), rests: (*Facts).restsOnRun, notes: []note{(*Facts).statedNote, rateNote(unit.Distance)}},
	word.RatePer100h:  {number: rateBy(unit.Time), rests: (*Facts).restsOnRun, notes: []note{(*Facts).statedNote, rateNote(unit.Time), (*Facts).shortNote}},
	word.Trend:        {number: (*Facts).trend, rests: (*Facts).restsOnAll},
	word.TrendIsReal:  {truth: (*Facts).trendIsReal, rests: (*Facts).restsOnAll},
	word.OutOfControl: {truth: (*Facts).outOfControl, rests: (*Facts).restsOnAll, notes: []note{(*Facts).usualNote}},

	word.Fresh:      {number: onSheet(lab.Sheet.FreshValue), rests: (*Facts).restsOnSample, notes: []note{(*Facts).baselineNote, (*Facts).freshNote}},
	word.Kept:       {number: onSheet(lab.Sheet.Kept), rests: (*Facts).restsOnSample, notes: []note{(*Facts).baselineNote, (*Facts).freshNote}},
	word.Carried:    {number: onSheet(lab.Sheet.Carried), rests: (*Facts).restsOnExchange, notes: []note{(*Facts).freshNote, (*Facts).statedNote}},
	word.Made:       {number: onSheet(lab.Sheet.Made), rests: (*Facts).restsOnExchange, notes: []note{(*Facts).freshNote, (*Facts).statedNote, (*Facts).toppedNote, (*Facts).madeNote}},
	word.MadeIsReal: {truth: isReal(lab.Sheet.MadeIsReal), rests: (*Facts).restsOnExchange},
	word.Expected:   {number: onSheet(lab.Sheet.Expected), rests: (*Facts).restsOnExchange, notes: []note{(*Facts).freshNote, (*Facts).statedNote}},
	word.ExchangesTo: {number: (*Facts).exchangesTo, rests: (*Facts).restsOnLastDrain,
		notes: []note{(*Facts).statedNote, (*Facts).drainNote, (*Facts).dilutionNote}},
	word.LitresTo: {number: (*Facts).litresTo, rests: (*Facts).restsOnLastDrain,
		notes: []note{(*Facts).statedNote, (*Facts).drainNote, (*Facts).dilutionNote}},

	word.OutOfFluidGrade: {number: func(x *Facts, _ string) (float64, string, bool) { return x.Sheet.OutOfFluidGrade(x.comp.Fluid) },
		rests: (*Facts).restsOnSample},
	word.RunningIn:  {truth: (*Facts).runningIn},
	word.HasFresh:   {truth: (*Facts).hasFresh},
	word.OutOfGrade: {number: onSheet(lab.Sheet.OutOfGrade), rests: (*Facts).restsOnSample},
	word.ViscosityIndex: {number: func(x *Facts, _ string) (float64, string, bool) { return x.Sheet.ViscosityIndex() },
		rests: (*Facts).restsOnSample},

	word.EwmaOut:           {truth: charted(lab.Sheet.EWMAOf), rests: (*Facts).restsOnAll, notes: []note{shiftNote(lab.Sheet.EWMAOf, "weighted average")}},
	word.CusumOut:          {truth: charted(lab.Sheet.CUSUMOf), rests: (*Facts).restsOnAll, notes: []note{shiftNote(lab.Sheet.CUSUMOf, "sum of what was made over that and its slack")}},
	word.ViscosityAt:       {number: (*Facts).viscosityAt, rests: (*Facts).restsOnSample},
	word.Iso4406:           {number: onSheet(lab.Sheet.ISO4406), rests: (*Facts).restsOnSample, notes: []note{(*Facts).codeNote, (*Facts).fewNote}},
	word.As4059:            {number: onSheet(lab.Sheet.AS4059), rests: (*Facts).restsOnSample, notes: []note{(*Facts).classNote}},
	word.AcidCrossing:      {number: acidCrossing(unit.Distance), rests: (*Facts).restsOnFluid, notes: []note{acidNote(unit.Distance)}},
	word.AcidCrossingHours: {number: acidCrossing(unit.Time), rests: (*Facts).restsOnFluid, notes: []note{acidNote(unit.Time)}},
	word.FluidDistance: {number: func(x *Facts, _ string) (float64, string, bool) { return x.Sheet.FluidDistance(x.Sheet.Fresh) },
		rests: (*Facts).restsOnSample, notes: []note{(*Facts).nearestNote}},
	word.Meter:         {number: reads(true)},
	word.MeterDistance: {number: reads(false)},
	word.HoursPerDay:   {number: (*Facts).hoursPerDay},
	word.ToppedUp:      {number: toppedUp(unit.Distance), notes: []note{(*Facts).consumedNote}},
	word.ToppedUpHours: {number: toppedUp(unit.Time), notes: []note{(*Facts).consumedNote}},
	word.Stands:        {truth: (*Facts).stands, notes: []note{(*Facts).stageNote}},
	word.Stage:         {number: (*Facts).stage, notes: []note{(*Facts).stageNote}},
	word.NearerFluid:   {truth: (*Facts).nearerFluid, rests: (*Facts).restsOnSample, notes: []note{(*Facts).nearestNote}},
}

// Number answers a word in base units.
func (x *Facts) Number(w word.Word, arg string) (float64, string, bool) {
	if t, ok := x.measured(arg); ok {
		return x.numberByHand(t, w)
	}
	a := &answers[w]
	y, arg, missing, ok := x.asked(arg)
	if ok {
		missing, ok = y.rest(a)
	}
	if !ok {
		return 0, y.lacks(missing, ok), false
	}
	v, missing, ok := a.number(y, arg)
	return v, y.lacks(missing, ok), ok
}

// Truth answers a word that is true or false.
func (x *Facts) Truth(w word.Word, arg string) (bool, string, bool) {
	if t, ok := x.measured(arg); ok {
		return x.truthByHand(t, w)
	}
	a := &answers[w]
	y, arg, missing, ok := x.asked(arg)
	if ok {
		missing, ok = y.rest(a)
	}
	if !ok {
		return false, y.lacks(missing, ok), false
	}
	v, missing, ok := a.truth(y, arg)
	return v, y.lacks(missing, ok && v), ok
}

// Note says what stands behind an answer: the baseline and its source, a result
// below its limit, a fresh value taken as nothing, how exact it can be.
func (x *Facts) Note(w word.Word, arg string) string {
	if t, ok := x.measured(arg); ok {
		return x.noteByHand(t)
	}
	var notes []string
	x, arg, _, ok := x.asked(arg)
	if !ok {
		return ""
	}
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

func (x *Facts) rest(a *answer) (missing string, ok bool) {
	if a.rests == nil {
		return "", true
	}
	if len(x.steps.Steps) == 0 {
		return "a sample", false
	}
	a.rests(x)
	return "", true
}

// onSheet answers from the sample's sheet.
func onSheet(read func(lab.Sheet, string) (float64, string, bool)) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, arg string) (float64, string, bool) { return read(x.Sheet, arg) }
}

func isReal(read func(lab.Sheet, string) (bool, string, bool)) func(*Facts, string) (bool, string, bool) {
	return func(x *Facts, arg string) (bool, string, bool) { return read(x.Sheet, arg) }
}

func ageBy(kind unit.Kind) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, _ string) (float64, string, bool) { return x.Sheet.AgeBy(kind) }
}

func rateBy(kind unit.Kind) func(*Facts, string) (float64, string, bool) {
	other, missing := unit.Time, "the distance run: only running hours are known"
	if kind == unit.Time {
		other, missing = unit.Distance, "the hours run: only a distance is known"
	}
	return func(x *Facts, arg string) (float64, string, bool) {
		v, why, ok := x.Sheet.RateBy(arg, kind)
		if _, _, known := x.Sheet.RateBy(arg, other); known && !ok {
			why = missing
		}
		return v, why, ok
	}
}

func against(forAge bool) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, arg string) (float64, string, bool) { return x.againstBaseline(arg, forAge) }
}

// noResult is what is missing where the sample has no result.
func noResult(analyte string) string { return analytes.Named(analyte) + " in the sample" }

func (x *Facts) has(arg string) (bool, string, bool) {
	if _, ok := x.Sheet.Result(arg); ok {
		return true, "", true
	}
	return false, noResult(arg), true
}

func (x *Facts) hasEarlier(arg string) (bool, string, bool) {
	if x.Sheet.HasEarlier(arg) {
		return true, "", true
	}
	if here, why, _ := x.has(arg); !here {
		return false, why, true
	}
	return false, "an earlier sample with " + analytes.Named(arg), true
}

// hasFresh reports whether there is a result, and fresh fluid to compare it with.
func (x *Facts) hasFresh(arg string) (bool, string, bool) {
	if fresh, named := x.Sheet.Fresh[arg]; !named || fresh <= 0 {
		return false, "fresh " + arg, true
	}
	return x.has(arg)
}

// The first run of a vehicle, in which machining, sealants and the fluid of the first fill
// read as dirt and wear. Common practice, no source.
const (
	runInDistance = 5_000_000 // metres
	runInHours    = 150 * 3600
)

// firstFill reports whether the fluid has run as long as the vehicle has.
func (x *Facts) firstFill(life float64, kind unit.Kind) bool {
	age, _, ok := x.Sheet.MixedAge(kind)
	return ok && age > 0.95*life
}

// runningIn reports whether the vehicle is known to be so new; its first fill holds twice
// as long what it gave off.
func (x *Facts) runningIn(string) (bool, string, bool) {
	if v, _, ok := x.life(false); ok {
		return v < runInDistance || v < 2*runInDistance && x.firstFill(v, unit.Distance), "", true
	}
	v, _, ok := x.life(true)
	return ok && (v < runInHours || v < 2*runInHours && x.firstFill(v, unit.Time)), "", true
}

func (x *Facts) below(arg string) (bool, string, bool) {
	r, ok := x.Sheet.Result(arg)
	return r.Censored, noResult(arg), ok
}

func (x *Facts) trend(arg string) (float64, string, bool) {
	t, why, ok := x.Sheet.WearTrend(arg, unit.Distance)
	return t.Slope, why, ok
}

// Significant is the chance below which a trend is taken for real.
const Significant = 0.05

func (x *Facts) trendIsReal(arg string) (bool, string, bool) {
	t, why, ok := x.Sheet.WearTrend(arg, unit.Distance)
	return t.P < Significant, why, ok
}

func (x *Facts) outOfControl(arg string) (bool, string, bool) {
	u, why, ok := x.Sheet.Usual(arg)
	return u.Outside > 0, why, ok
}

// target is the argument of a word that asks for an analyte and a number; the rule's
// compiler wrote it.
func target(arg string) (analyte string, v float64) {
	analyte, number, _ := strings.Cut(arg, " ")
	v, _ = strconv.ParseFloat(number, 64)
	return analyte, v
}

func (x *Facts) exchangesTo(arg string) (float64, string, bool) {
	return x.Sheet.ExchangesTo(target(arg))
}

func (x *Facts) litresTo(arg string) (float64, string, bool) {
	analyte, v := target(arg)
	return x.Sheet.LitresTo(analyte, v, event.Litres(x.Def.Capacity))
}

const noMeter = "a reading of the odometer"

// reckoned is the task's due point and today's date.
func (x *Facts) reckoned(task string) (d Due, missing string, ok bool) {
	if d, ok = x.v.reckonNamed(task, x.of, x.before, x.at); !ok {
		return d, "the task " + strconv.Quote(task) + " on this vehicle", false
	}
	if twins := x.v.Applied().Rules.Twins[applies.Task{Task: d.Task, Component: d.Comp}]; d.Task.Name != task && len(twins) > 0 {
		return d, fmt.Sprintf("which task takes the place of %q, as %q and %q both do", task, d.Task.Name, twins[0].Name), false
	}
	return d, "", true
}

// today is the date of the judgement.
func (x *Facts) today() interval.Date {
	at := min(x.at, x.v.When.UnixNano())
	if tick := x.place.Clock; x.at < tick { // one of the past, judged again
		at = tick
	}
	return interval.DateOf(time.Unix(0, at), x.v.Applied().Zone)
}

func lastDoneMissing(task string) string { return "when " + task + " was last done" }

// run is a distance or time from a task's work or to its due point, where both are known.
func run(v float64, task string) (float64, string, bool) {
	if math.IsNaN(v) {
		return 0, lastDoneMissing(task), false
	}
	return v, "", true
}

func (x *Facts) daysSince(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || d.Last == nil || d.Last.Date.IsZero() {
		return 0, cmp.Or(missing, lastDoneMissing(task)), false
	}
	return float64(x.today().Sub(d.Last.Date)), "", true
}

func (x *Facts) daysToDue(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || !d.Point.HasDate {
		return 0, cmp.Or(missing, "a due date of "+task), false
	}
	return float64(d.Point.Date.Sub(x.today())), "", true
}

func (x *Facts) dueIn(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok {
		return 0, missing, false
	}
	now, missing, ok := x.lifeFor(&d, false)
	if !ok {
		return 0, missing, false
	}
	return run(d.Point.Distance-now, task)
}

func since(hours bool) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, task string) (float64, string, bool) {
		d, missing, ok := x.reckoned(task)
		if !ok {
			return 0, missing, false
		}
		now, missing, ok := x.lifeFor(&d, hours)
		if !ok {
			return 0, missing, false
		}
		switch {
		case d.Last == nil:
			return 0, lastDoneMissing(task), false
		case hours:
			return run(now-d.Last.Hours, task)
		}
		return run(now-d.Last.Distance, task)
	}
}
