package lab

import (
	"cmp"
	"math"
	"strings"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// Ends chooses a number for a result that is not known exactly, within its
// [Result.Span]: the result r of the analyte at step i of the history. It is
// asked for results "below" and "above" only.
type Ends func(i int, r Result) float64

// Sheet is the last sample of a history, read against what came before it.
//
// Each answer comes with why, which says in words what was missing where ok is
// false: "copper (Cu) in the sample", "an earlier sample", "a known share of the exchange".
type Sheet struct {
	History History
	// Fresh is what the fluid holds when new, in base units. A wear metal that it
	// does not name counts 0 (see [Sheet.FreshNote]), anything else is unknown.
	Fresh map[string]float64
	// Unsure says why nobody can tell which fresh values count; "" where it is plain.
	Unsure string
	// Ends chooses for censored results; where nil, the reported limit stands.
	Ends Ends
	// Mixed are the fluid's ages at the sample, [History.Ages]; where nil, they are reckoned
	// each time.
	Mixed *Ages
}

// missing is what is not known of the answers from which another is reckoned, the
// first of it in words; "" where all is known. No result is read for an answer that is
// missing already, lest Ends choose for what does not count.
type missing string

// in takes an answer in.
func (m *missing) in(v float64, why string, ok bool) float64 {
	m.unless(ok, why)
	return v
}

// unless notes what is missing where it is not so.
func (m *missing) unless(so bool, why ...string) {
	if !so && *m == "" {
		*m = missing(strings.Join(why, ""))
	}
}

// answer is what was reckoned, where all of it was known.
func (m missing) answer(v float64) (float64, string, bool) {
	if m != "" {
		return 0, string(m), false
	}
	return v, "", true
}

// Result returns the sample's result as it is, censored or not.
func (s Sheet) Result(analyte string) (Result, bool) {
	if len(s.History) == 0 {
		return Result{}, false
	}
	return s.History[len(s.History)-1].result(analyte)
}

func (s Sheet) at(i int, analyte string) (float64, bool) {
	r, ok := s.History[i].result(analyte)
	if ok && (r.Censored || r.Above) && s.Ends != nil {
		return s.Ends(i, r), true
	}
	return r.Value, ok
}

// Value is the analyte in the sample, in its base unit.
func (s Sheet) Value(analyte string) (v float64, why string, ok bool) {
	if len(s.History) == 0 {
		return 0, "a sample", false
	}
	if v, ok = s.at(len(s.History)-1, analyte); !ok {
		return 0, analytes.Named(analyte) + " in the sample", false
	}
	return v, "", true
}

// earlier is the analyte in the sample at i, which may be -1.
func (s Sheet) earlier(i int, analyte string) (v float64, why string, ok bool) {
	if i < 0 {
		return 0, "an earlier sample", false
	}
	if v, ok = s.at(i, analyte); !ok {
		return 0, analytes.Named(analyte) + " in the earlier sample", false
	}
	return v, "", true
}

// HasEarlier reports whether the sample and the one before it both have a result for
// the analyte.
func (s Sheet) HasEarlier(analyte string) bool {
	before := s.History.before(len(s.History)-1, false)
	if before < 0 {
		return false
	}
	_, now := s.Result(analyte)
	_, then := s.History[before].result(analyte)
	return now && then
}

// Change is the value less that of the sample immediately before, whether or
// not fluid was exchanged between them.
func (s Sheet) Change(analyte string) (v float64, why string, ok bool) {
	now, why, ok := s.Value(analyte)
	if ok {
		v, why, _ = s.earlier(s.History.before(len(s.History)-1, false), analyte)
	}
	return missing(why).answer(now - v)
}

// FreshValue is the analyte in the fresh fluid.
func (s Sheet) FreshValue(analyte string) (v float64, why string, ok bool) {
	if v, ok = s.Fresh[analyte]; ok || s.Unsure != "" {
		return v, s.Unsure, ok
	}
	if isWear(analyte) {
		return 0, "", true
	}
	return 0, "fresh " + analyte, false
}

// FreshNote says so where FreshValue assumed 0; otherwise it is empty.
func (s Sheet) FreshNote(analyte string) string {
	if _, named := s.Fresh[analyte]; !named && s.Unsure == "" && isWear(analyte) {
		return "fresh " + analyte + " taken as 0, a wear metal that the fresh fluid's values do not name"
	}
	return ""
}

// Kept is the value over that of the fresh fluid.
func (s Sheet) Kept(analyte string) (v float64, why string, ok bool) {
	var m missing
	now, fresh := m.in(s.Value(analyte)), m.in(s.FreshValue(analyte))
	m.unless(fresh > 0, "fresh ", analyte, " above 0")
	return m.answer(now / fresh)
}

// Carried is what the latest exchange left behind, fresh fluid's own content
// included: (1-f) × the last value before + f × fresh, chained over all exchanges
// since the last sample that came before the latest exchange, and over what was topped
// up since.
func (s Sheet) Carried(analyte string) (v float64, why string, ok bool) {
	h := s.History
	latest := h.before(len(h)-1, true)
	if latest < 0 {
		return 0, "an exchange before the sample", false
	}
	return s.leftOf(analyte, h.before(latest, false))
}

// leftOf is what exchanges and top-ups since step i, which may be -1, left of its result.
func (s Sheet) leftOf(analyte string, i int) (v float64, why string, ok bool) {
	var m missing
	v, fresh := m.in(s.earlier(i, analyte)), m.in(s.FreshValue(analyte))
	for _, step := range s.History[i+1:] {
		if step.Exchange {
			v = mix(v, fresh, step.Share)
		}
	}
	m.unless(!math.IsNaN(v), "a known share of the exchange")
	return m.answer(v)
}

// beyond is what the sample holds more than what is left of the result at step i.
func (s Sheet) beyond(analyte string, i int) (v float64, why string, ok bool) {
	now, why, ok := s.Value(analyte)
	if ok {
		v, why, _ = s.leftOf(analyte, i)
	}
	return missing(why).answer(now - v)
}

// mix is the concentration just after a share f of the fluid was renewed: mass
// balance of the two parts. A whole exchange leaves the fresh fluid, whatever was
// there and whether or not that is known.
func mix(old, fresh, f float64) float64 {
	if f == 1 {
		return fresh
	}
	return float64((1-f)*old) + float64(f*fresh)
}

// Made is what the component made since the latest exchange: what the sample holds
// beyond [Sheet.Carried] and, where fluid was topped up since, what went with the fluid
// that was consumed ([Sheet.Unhidden]). A filter's catch is not modelled: a lower bound.
func (s Sheet) Made(analyte string) (v float64, why string, ok bool) {
	now, why, ok := s.Value(analyte)
	if ok {
		v, why, _ = s.Carried(analyte)
	}
	return missing(why).answer((now - v) * s.Unhidden())
}

// Unhidden is by how much more was made since the latest exchange than the sample shows
// of it, because part went with fluid that was consumed and topped up: 1 or more, 1 also
// where no run is known.
func (s Sheet) Unhidden() float64 {
	h, last := s.History, len(s.History)-1
	if from := h.before(h.before(last, true), false); from >= 0 {
		return h.unhidden(from, last)
	}
	return 1
}

// Rate is how fast the analyte rises, in base units per metre (per is
// unit.Distance), or per second (unit.Time) where the distance is not known.
// Without an exchange since the sample before, it is the change over the run
// between the two; with one, it is what was made over the run of which the fluid
// still holds what was made: that since the exchange, and of that before it the
// share that the exchange left behind.
func (s Sheet) Rate(analyte string) (v float64, per unit.Kind, why string, ok bool) {
	if v, why, ok = s.RateBy(analyte, unit.Distance); ok {
		return v, unit.Distance, "", true
	}
	if v, _, ok = s.RateBy(analyte, unit.Time); ok {
		return v, unit.Time, "", true
	}
	return 0, unit.None, why, false
}

// RateBy is [Sheet.Rate] per metre (per is unit.Distance) or per second (unit.Time)
// for a component that has both meters.
func (s Sheet) RateBy(analyte string, per unit.Kind) (v float64, why string, ok bool) {
	h, last := s.History, len(s.History)-1
	from, since := h.before(last, false), "a run since the earlier sample"
	// What lies between are exchanges and top-ups; these alone make so small a difference
	// that the rate is told without, where the fresh fluid's content is not known.
	renewed := from >= 0 && from < last-1
	if _, _, known := s.FreshValue(analyte); !known && h.before(last, true) < from {
		renewed = false
	}
	if renewed {
		since = "a run since the exchange"
		v, why, ok = s.beyond(analyte, from)
	} else {
		v, why, ok = s.Change(analyte)
	}
	if !ok {
		return 0, why, false
	}
	run := h.held(from, last, per, renewed)
	if !(run > 0) {
		return 0, since, false
	}
	return v / run, "", true
}

// Expected is what the sample would hold had the component worn on as before:
// [Sheet.Carried] and, for the run of which the fluid still holds what was made, the
// rate as it stood at the sample before.
func (s Sheet) Expected(analyte string) (v float64, why string, ok bool) {
	carried, why, ok := s.Carried(analyte)
	if !ok {
		return 0, why, false
	}
	h, last := s.History, len(s.History)-1
	from := h.before(h.before(last, true), false)
	before := s
	before.History, before.Mixed = h[:h.before(last, false)+1], nil
	for _, per := range []unit.Kind{unit.Distance, unit.Time} {
		rate, missing, ok := before.RateBy(analyte, per)
		if !ok {
			why = cmp.Or(why, "a rate at the earlier sample: "+missing)
			continue
		}
		run := h.heldRun(from, last, per)
		if run >= 0 {
			return carried + float64(rate*run), "", true
		}
		why = cmp.Or(why, "a run since the exchange")
	}
	return 0, why, false
}

// Times is the value over the baseline's mean.
func (s Sheet) Times(analyte string, mean float64) (v float64, why string, ok bool) {
	var m missing
	now := m.in(s.Value(analyte))
	m.unless(mean > 0, "a baseline mean above 0 for ", analyte)
	return m.answer(now / mean)
}

// Deviations is by how many standard deviations the value lies above the baseline's mean.
func (s Sheet) Deviations(analyte string, mean, sd float64) (v float64, why string, ok bool) {
	now, why, ok := s.Value(analyte)
	if !ok {
		return 0, why, false
	}
	if !(sd > 0) {
		return 0, "a spread above 0 of " + analytes.Named(analyte), false
	}
	return (now - mean) / sd, "", true
}

// TimesForAge is the value over the baseline's mean scaled to the fluid's mixed
// age: value / (mean × age / baselineAge). The baseline's age is a distance in metres
// or hours in seconds, as kind says; a fluid whose age is known only in the other
// kind, or is under a fifth of the baseline's, is not judged.
func (s Sheet) TimesForAge(analyte string, mean, baselineAge float64, kind unit.Kind) (v float64, why string, ok bool) {
	var m missing
	times := m.in(s.Times(analyte, mean))
	m.unless(baselineAge > 0, "the baseline's fluid age")
	age := m.in(s.MixedAge(kind))
	m.unless(atLeast(age, baselineAge/5), "a fluid age of a fifth of the baseline's or more")
	return m.answer(times / (age / baselineAge))
}

// MixedAge is the fluid's age as [History.Ages] tracks it, in metres
// (unit.Distance) or seconds (unit.Time); why says whether it is known in the other
// kind only.
func (s Sheet) MixedAge(kind unit.Kind) (v float64, why string, ok bool) {
	a := s.ages()
	switch v = a.by(kind); {
	case !math.IsNaN(v):
		return v, "", true
	case math.IsNaN(a.Distance) && math.IsNaN(a.Hours):
		return 0, "the fluid's age", false
	case kind == unit.Time:
		return 0, "the fluid's age in hours", false
	}
	return 0, "the fluid's age as a distance", false
}

func (s Sheet) ages() Ages {
	if s.Mixed != nil {
		return *s.Mixed
	}
	return s.History.Ages(len(s.History) - 1)
}

// Age is the fluid's age as [Sheet.AgeBy] gives it, in metres (kind unit.Distance) or
// seconds (unit.Time): what the sample states comes before what was tracked, and
// distance before hours.
func (s Sheet) Age() (v float64, kind unit.Kind, why string, ok bool) {
	if len(s.History) == 0 {
		return 0, unit.None, "a sample", false
	}
	if last := &s.History[len(s.History)-1]; math.IsNaN(last.Age) && !math.IsNaN(last.AgeHours) {
		return last.AgeHours, unit.Time, "", true
	}
	for _, kind := range []unit.Kind{unit.Distance, unit.Time} {
		if v, _, ok := s.AgeBy(kind); ok {
			return v, kind, "", true
		}
	}
	return 0, unit.None, "the fluid's age", false
}

// AgeBy is the fluid's age in metres (kind unit.Distance) or seconds (unit.Time):
// as stated on the sample or, where that is not stated, as [History.Ages] tracks it.
func (s Sheet) AgeBy(kind unit.Kind) (v float64, why string, ok bool) {
	if len(s.History) == 0 {
		return 0, "a sample", false
	}
	if v = s.History[len(s.History)-1].stated(kind); !math.IsNaN(v) {
		return v, "", true
	}
	return s.MixedAge(kind)
}
