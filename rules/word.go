package rules

import (
	"slices"

	"telltale/rules/analytes"
)

// Word is one of the calls by which a rule asks for facts.
type Word uint8

// The words, as Facts is asked for them. WordRateHours has no name of its own in
// rules: rate(a) asks for it where the record knows no distance.
const (
	WordNone Word = iota
	WordOdometer
	WordHours
	WordPerDay
	WordValue
	WordBelow
	WordHas
	WordFluidAge
	WordFluidHours
	WordTimes
	WordTimesForAge
	WordDeviations
	WordPercentile
	WordChange
	WordRate      // per metre
	WordRateHours // per second of running
	WordFresh
	WordKept
	WordCarried
	WordMade
	WordExpected
	WordChangeIsReal
	WordTrend // per metre and metre
	WordTrendIsReal
	WordExchangesTo
	WordLitresTo
	WordHasEarlier
	WordMadeIsReal
	WordOutOfControl
	WordMetalsFell
	WordTimesTheAge
	WordOutOfGrade
	WordViscosityIndex
	WordSince
	WordHoursSince
	WordDaysSince
	WordDueIn
	WordDaysToDue
	WordDone
)

// String is the name by which rules call the word.
func (w Word) String() string {
	if w == WordRateHours {
		w = WordRate
	}
	if i := slices.IndexFunc(words, func(d WordInfo) bool { return d.word == w }); i >= 0 {
		return words[i].Name
	}
	return "unknown word"
}

// argument says what a word is called with.
type argument uint8

const (
	nothing argument = iota
	analyte
	task
	target // an analyte and a number, asked for as "Na 30"
	grade  // of viscosity
)

func (a argument) String() string {
	return [...]string{nothing: "", analyte: "analyte", task: "task", target: "analyte, target", grade: "grade"}[a]
}

// scale says how an answer in base units becomes the number a rule sees.
type scale uint8

const (
	asIs        scale = iota
	toDistance        // metres to the book's distance
	runHours          // seconds to hours
	perRun            // per metre, or per second, to per 1,000 of distance or per 100 h
	perRunTwice       // per metre and metre to per 1,000 of distance and 1,000
	toVolume          // litres to the book's volume
)

// WordInfo describes one word: the reference for people who write rules.
type WordInfo struct {
	Name      string `json:"name"`
	Signature string `json:"signature"`
	Unit      string `json:"unit"`    // "" for a ratio; "analyte's" for the unit of the analyte asked for
	Meaning   string `json:"meaning"` // one sentence
	Source    string `json:"source"`  // where the definition comes from
	Example   string `json:"example"`

	word   Word
	arg    argument
	truth  bool
	scale  scale
	sample bool   // asks about a component's fluid, so the rule must know which component
	phrase string // for those who read no rules, a %s for each argument: "%s, times the baseline"
}

const (
	unitDistance = "book's distance"
	unitVolume   = "book's volume"
	unitAnalyte  = "analyte's"
	unitTrend    = "analyte's per 1,000 of the book's distance, for each 1,000"
	unitRate     = "analyte's per 1,000 of the book's distance, or per 100 h"
	practice     = "common practice, no source"
	byDefinition = "definition"
)

var words = signed([]WordInfo{
	{Name: "odometer", Unit: unitDistance, word: WordOdometer, scale: toDistance, phrase: "odometer",
		Meaning: "the distance run in the vehicle's life, over replaced instruments", Source: byDefinition, Example: `odometer() > 200000`},
	{Name: "hours", Unit: "h", word: WordHours, scale: runHours, phrase: "hour meter",
		Meaning: "the running hours in the vehicle's life, over replaced instruments", Source: byDefinition, Example: `hours() >= 10000`},
	{Name: "perDay", Unit: unitDistance + " a day", word: WordPerDay, scale: toDistance, phrase: "use a day",
		Meaning: "the usual distance run in a day, from the latest readings", Source: practice, Example: `perDay() < 5`},

	{Name: "value", Unit: unitAnalyte, word: WordValue, arg: analyte, sample: true, phrase: "%s",
		Meaning: "the result in the sample; a result below its limit stands for both its ends", Source: byDefinition, Example: `value("Fe") > 150`},
	{Name: "below", word: WordBelow, arg: analyte, truth: true, sample: true, phrase: "%s below the laboratory's limit",
		Meaning: "whether the laboratory reported the result as below its limit", Source: byDefinition, Example: `!below("Pb")`},
	{Name: "has", word: WordHas, arg: analyte, truth: true, sample: true, phrase: "%s in the sample",
		Meaning: "whether the sample has a result for the analyte; guards what stands to its right", Source: byDefinition, Example: `has("Fe") && value("Fe") > 150`},
	{Name: "hasEarlier", word: WordHasEarlier, arg: analyte, truth: true, sample: true, phrase: "%s in this sample and the one before",
		Meaning: "whether this sample and the one before both have a result for the analyte; guards what stands to its right",
		Source:  byDefinition, Example: `!hasEarlier("K") || change("K") > 0`},
	{Name: "fluidAge", Unit: unitDistance, word: WordFluidAge, scale: toDistance, sample: true, phrase: "age of the fluid",
		Meaning: "the distance that the fluid had run when the sample was drawn", Source: byDefinition, Example: `fluidAge() > 30000`},
	{Name: "fluidHours", Unit: "h", word: WordFluidHours, scale: runHours, sample: true, phrase: "running time of the fluid",
		Meaning: "the running hours of the fluid when the sample was drawn", Source: byDefinition, Example: `fluidHours() > 250`},

	{Name: "times", word: WordTimes, arg: analyte, sample: true, phrase: "%s, times the baseline",
		Meaning: "value divided by the baseline's mean", Source: byDefinition, Example: `times("Cu")`},
	{Name: "timesForAge", word: WordTimesForAge, arg: analyte, sample: true, phrase: "%s, times the baseline at this fluid age",
		Meaning: "value divided by the baseline's mean scaled to the fluid's age; not judged below a fifth of the baseline's age",
		Source:  practice, Example: `timesForAge("Fe") > 2`},
	{Name: "deviations", word: WordDeviations, arg: analyte, sample: true, phrase: "%s, standard deviations above the baseline",
		Meaning: "by how many standard deviations the value lies above the baseline's mean: negative below it; of the baseline's spread or, in one made from the fleet, of the group's",
		Source:  "standardised value, elementary", Example: `deviations("Fe") > 3`},
	{Name: "percentile", word: WordPercentile, arg: analyte, sample: true, phrase: "%s, percentile of the baseline",
		Meaning: "the place of the value among those of its group in a baseline made from the fleet: 0 below the least of them, 100 above the greatest",
		Source:  "NIST/SEMATECH e-Handbook 7.2.6.2, inverted", Example: `percentile("Fe") > 95`},

	{Name: "timesTheAge", word: WordTimesTheAge, sample: true, phrase: "age of the fluid, times the baseline's",
		Meaning: "the fluid's age, mixed over partial exchanges, divided by that of the baseline's fluid", Source: byDefinition, Example: `timesTheAge() > 2`},

	{Name: "change", Unit: unitAnalyte, word: WordChange, arg: analyte, sample: true, phrase: "change of %s since the last sample",
		Meaning: "value minus the value of the sample before", Source: byDefinition, Example: `change("K") > 0`},
	{Name: "rate", Unit: unitRate, word: WordRate, arg: analyte, scale: perRun, sample: true, phrase: "rate of %s",
		Meaning: "how fast the analyte is made since the sample before, for the distance (or the hours) of which the fluid still holds what was made", Source: "mass balance", Example: `rate("Fe") > 4`},

	{Name: "fresh", Unit: unitAnalyte, word: WordFresh, arg: analyte, sample: true, phrase: "%s in fresh fluid",
		Meaning: "what fresh fluid contains, from the baseline; a wear metal that it does not list is 0", Source: byDefinition, Example: `value("Na") - fresh("Na") > 15`},
	{Name: "kept", word: WordKept, arg: analyte, sample: true, phrase: "%s, share of fresh",
		Meaning: "value divided by what fresh fluid contains: the share of an additive that is left", Source: byDefinition, Example: `kept("P") < 0.6`},
	{Name: "carried", Unit: unitAnalyte, word: WordCarried, arg: analyte, sample: true, phrase: "%s left from before the exchange",
		Meaning: "what the last partial exchange left behind: (1-f) × the value before it + f × fresh, f being the share exchanged",
		Source:  "mass balance", Example: `carried("Cu") > 40`},
	{Name: "made", Unit: unitAnalyte, word: WordMade, arg: analyte, sample: true, phrase: "%s made since the exchange",
		Meaning: "value minus carried: what was made since the exchange", Source: "mass balance", Example: `made("Cu") > 20`},
	{Name: "madeIsReal", word: WordMadeIsReal, arg: analyte, truth: true, sample: true, phrase: "more %s made since the exchange than the method alone accounts for",
		Meaning: "whether what was made since the exchange is more than the method alone accounts for, in this result and in what is left of the one before",
		Source:  "ISO 5725-6 from memory, with the figures of changeIsReal", Example: `madeIsReal("Cu") && made("Cu") > 20`},
	{Name: "expected", Unit: unitAnalyte, word: WordExpected, arg: analyte, sample: true, phrase: "%s expected by now",
		Meaning: "carried plus the earlier rate times what was run since: what the sample shows if nothing changed",
		Source:  "mass balance", Example: `value("Cu") > 1.5 * expected("Cu")`},

	{Name: "changeIsReal", word: WordChangeIsReal, arg: analyte, truth: true, sample: true, phrase: "change of %s is more than the method alone accounts for",
		Meaning: "whether the change since the sample before is more than the method alone accounts for: its repeatability where both name one laboratory, its reproducibility otherwise",
		Source:  "ASTM D445 for viscosities, ASTM D5185 from memory for elements, else 10 % and 20 %", Example: `changeIsReal("Fe") && change("Fe") > 20`},
	{Name: "trend", Unit: unitTrend, word: WordTrend, arg: analyte, scale: perRunTwice, sample: true, phrase: "trend of %s",
		Meaning: "how the rate at which the analyte is made itself rises (Theil-Sen slope over the samples' rates, so a drain is no fall)",
		Source:  "EPA 530/R-09-007 17.3", Example: `trendIsReal("Fe") && trend("Fe") > 0`},
	{Name: "trendIsReal", word: WordTrendIsReal, arg: analyte, truth: true, sample: true, phrase: "trend of %s is significant",
		Meaning: "whether that rise or fall is significant (Mann-Kendall, two-sided, 5 %); five samples with a rate are the fewest that can be",
		Source:  "EPA 530/R-09-007 17.3", Example: `trendIsReal("Cu")`},
	{Name: "exchangesTo", word: WordExchangesTo, arg: target, sample: true, phrase: "exchanges like the last one until %s is at %s",
		Meaning: "how many more exchanges like the last one bring the analyte to the target: for contaminants and additives; of a wear metal it dilutes and cures nothing, which the advice then says",
		Source:  "mass balance", Example: `exchangesTo("Na", 15) > 2`},
	{Name: "litresTo", Unit: unitVolume, word: WordLitresTo, arg: target, scale: toVolume, sample: true, phrase: "fluid for exchanges until %s is at %s",
		Meaning: "how much fluid those exchanges take, in the book's unit of volume",
		Source:  "mass balance", Example: `litresTo("Na", 15) > component.capacity`},
	{Name: "outOfControl", word: WordOutOfControl, arg: analyte, truth: true, sample: true, phrase: "%s made faster than is usual here",
		Meaning: "whether the analyte is made faster than the component's own earlier rates have it (individuals chart of at least eight, mean + 3 × mean moving range / 1.128; of four to seven the limit that the next one stays under, 99.5 %), by more than the method alone accounts for",
		Source:  "NIST/SEMATECH e-Handbook 6.3.2.2; EPA 530/R-09-007 18.2", Example: `outOfControl("Fe")`},
	{Name: "metalsFell", word: WordMetalsFell, truth: true, sample: true, phrase: "all wear metals fell together",
		Meaning: "whether all wear metals fell together since the sample before with no exchange on record: fluid changed unrecorded, or another machine's sample",
		Source:  "US DoD JOAP manual TM 38-301-3", Example: `metalsFell()`},
	{Name: "outOfGrade", Unit: "mm2/s", word: WordOutOfGrade, arg: grade, sample: true, phrase: "viscosity outside %s",
		Meaning: "by how much the viscosity lies outside the grade: negative when too thin, positive when too thick, 0 inside",
		Source:  "SAE J300, ISO 3448", Example: `outOfGrade("SAE 5W-30") < 0`},
	{Name: "viscosityIndex", word: WordViscosityIndex, sample: true, phrase: "viscosity index",
		Meaning: "the viscosity index from the viscosities at 40 and 100 °C", Source: "ASTM D2270", Example: `viscosityIndex() < 130`},

	{Name: "since", Unit: unitDistance, word: WordSince, arg: task, scale: toDistance, phrase: "since %s",
		Meaning: "the distance run since the task was last done", Source: byDefinition, Example: `since("engine oil") > 15000`},
	{Name: "hoursSince", Unit: "h", word: WordHoursSince, arg: task, scale: runHours, phrase: "running time since %s",
		Meaning: "the running hours since the task was last done", Source: byDefinition, Example: `hoursSince("engine oil") > 400`},
	{Name: "daysSince", Unit: "days", word: WordDaysSince, arg: task, phrase: "time since %s",
		Meaning: "the days since the task was last done", Source: byDefinition, Example: `daysSince("brake check") > 90`},
	{Name: "dueIn", Unit: unitDistance, word: WordDueIn, arg: task, scale: toDistance, phrase: "until %s",
		Meaning: "the distance left to the task's due point; negative past it", Source: byDefinition, Example: `dueIn("engine oil") < 2000`},
	{Name: "daysToDue", Unit: "days", word: WordDaysToDue, arg: task, phrase: "time until %s",
		Meaning: "the days left to the task's due date; negative past it", Source: byDefinition, Example: `daysToDue("inspection") < 30`},
	{Name: "done", word: WordDone, arg: task, truth: true, phrase: "%s ever done",
		Meaning: "whether the record knows that the task was ever done, by itself or with a larger one that contains it", Source: byDefinition, Example: `!done("timing belt")`},
})

// signed gives each word its signature.
func signed(words []WordInfo) []WordInfo {
	for i := range words {
		d := &words[i]
		d.Signature = d.Name + "(" + d.arg.String() + ") " + map[bool]string{true: "true or false", false: "number"}[d.truth]
	}
	return words
}

var wordByName = func() map[string]*WordInfo {
	m := make(map[string]*WordInfo, len(words))
	for i := range words {
		m[words[i].Name] = &words[i]
	}
	return m
}()

// AnalyteUnit is [analytes.UnitOf].
func AnalyteUnit(name string) string { return analytes.UnitOf(name) }

// Words lists what a rule may ask, in the order of the reference.
func Words() []WordInfo { return slices.Clone(words) }

// unit is what the word's answer for arg is measured in, as evidence shows it.
func (d *WordInfo) unit(arg string, u Units, byHours bool) string {
	switch d.Unit {
	case unitDistance:
		return u.Distance
	case unitDistance + " a day":
		return u.Distance + "/day"
	case unitVolume:
		return u.Volume
	case unitAnalyte:
		return analytes.UnitOf(arg)
	case unitTrend:
		return analytes.UnitOf(arg) + " per 1,000 " + u.Distance + ", for each 1,000 " + u.Distance
	case unitRate:
		per := "1,000 " + u.Distance
		if byHours {
			per = "100 h"
		}
		return analytes.UnitOf(arg) + " per " + per
	}
	return d.Unit
}
