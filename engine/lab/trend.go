package lab

import (
	"math"
	"slices"

	"telltale/engine/trend"
	"telltale/rules/unit"
)

// WearTrend is the trend of the analyte's rate ([Sheet.RateBy]) per metre over the
// component's distance (per is unit.Distance), or per second over its hours
// (unit.Time): of wear made, so a drain does not read as a fall. It needs three
// samples with a rate.
func (s Sheet) WearTrend(analyte string, per unit.Kind) (t trend.Trend, why string, ok bool) {
	steps, rates := s.Rates(analyte, per)
	at := make([]float64, len(steps))
	for k, i := range steps {
		at[k] = s.History[i].meter(per)
	}
	if t, ok = trend.Of(at, rates); ok {
		return t, "", true
	}
	return trend.Trend{}, "three samples with different rates of " + analyte, false
}

// Rates are the rates ([Sheet.RateBy]) at all samples that have one and were taken
// alike ([History.Alike]), and the steps of these samples.
func (s Sheet) Rates(analyte string, per unit.Kind) (steps []int, rates []float64) {
	first := s.History.Alike()
	for i := range s.History {
		if s.History[i].Exchange || s.History.before(i, false) < first {
			continue
		}
		upTo := s
		upTo.History = s.History[:i+1]
		if r, _, ok := upTo.RateBy(analyte, per); ok {
			steps, rates = append(steps, i), append(rates, r)
		}
	}
	return steps, rates
}

// ChangeIsReal reports whether [Sheet.Change] is more than the method alone
// accounts for: its repeatability where both samples name one laboratory, its
// reproducibility otherwise.
func (s Sheet) ChangeIsReal(analyte string) (really bool, why string, ok bool) {
	now, why, ok := s.Value(analyte)
	if !ok {
		return false, why, false
	}
	last := len(s.History) - 1
	before := s.History.before(last, false)
	old, why, ok := s.earlier(before, analyte)
	return ok && Real(analyte, old, now, s.oneLaboratory(before, last)), why, ok
}

// ShortRun reports whether the rate by hours ([Sheet.RateBy]) stands on a run under
// 5 h: rates over less "are subject to error because the spectrometer tolerance of 1
// ppm is averaged in the shorter time interval" (US DoD JOAP manual, TM 38-301-3).
func (s Sheet) ShortRun() bool {
	last := len(s.History) - 1
	from := s.History.before(last, false)
	return from >= 0 && s.History.heldRun(from, last, unit.Time) < 5*3600
}

// Dropped reports whether all wear metals of the sample fell together since the
// sample before, with no exchange recorded between: at least three of them, none
// risen, each that could show it beyond the method's repeatability. The JOAP
// manual (TM 38-301-3): a significant drop in all metals asks for another sample
// and, if it confirms, a new baseline; fluid was changed unrecorded, or the sample
// is another machine's.
func (s Sheet) Dropped() (fallen bool, why string, ok bool) {
	last := len(s.History) - 1
	before := s.History.before(last, false)
	if before < 0 {
		return false, "an earlier sample", false
	}
	return s.History.before(last, true) < before && s.fell(before, last), "", true
}

func (s Sheet) fell(before, last int) bool {
	seen, fell := 0, 0
	for _, r := range s.History[last].Results {
		old, ok := s.at(before, r.Analyte)
		if !ok || !isWear(r.Analyte) {
			continue
		}
		seen++
		now, _ := s.at(last, r.Analyte)
		old *= s.History.left(before, last) // fluid may have been topped up
		switch {
		case now > old:
			return false
		case Real(r.Analyte, old, now, true):
			fell++
		case Real(r.Analyte, old, 0, true):
			return false // there was enough of it to see a drop
		}
	}
	return seen >= 3 && fell >= 1
}

// Crossing is how much further a fluid runs until a measure reaches its limit, in
// metres (or seconds): the likely run, and the range from the interval of the slope,
// which holds in Sure of all cases ([trend.Sure]: two of three with three samples). High
// is infinite where the measure may as well not rise at all.
type Crossing struct{ Low, Likely, High, Sure float64 }

// CrossingOf forecasts it from the measures of at least three samples against the
// fluid's age at each, the last being now. Ages that are mixed over partial
// exchanges serve: an exchange thins what was made and makes the fluid younger by
// the same share. A single result may lie too low by as much as off, by the method alone:
// where the line through the middle of all stands higher now, Low counts from there, but
// no more than off above the last measure. ok is false where the measure does not rise, or
// has reached the limit.
func CrossingOf(ages, measures []float64, limit, off float64) (c Crossing, ok bool) {
	t, ok := trend.Of(ages, measures)
	if !ok || !(t.Slope > 0) {
		return Crossing{}, false
	}
	left := limit - measures[len(measures)-1]
	if !(left > 0) {
		return Crossing{}, false
	}
	low := math.Max(0, math.Min(off, standsAt(ages, measures, t.Slope)-measures[len(measures)-1]))
	c = Crossing{Low: math.Max(0, left-low) / t.High, Likely: left / t.Slope, High: math.Inf(1), Sure: t.Sure}
	if t.Low > 0 {
		c.High = left / t.Low
	}
	return c, true
}

// standsAt is where the line of a slope stands at the last of the ages: through the median
// of what the measures are without it (Conover, Practical Nonparametric Statistics, from
// memory).
func standsAt(ages, measures []float64, slope float64) float64 {
	now := ages[len(ages)-1]
	at := make([]float64, len(ages))
	for i, age := range ages {
		at[i] = measures[i] + float64(slope*(now-age))
	}
	slices.Sort(at)
	return trend.AtRank(at, float64(len(at)+1)/2)
}
