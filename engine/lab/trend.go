package lab

import (
	"telltale/engine/trend"
	"telltale/rules/unit"
)

// WearTrend is the trend of the analyte's rate ([Sheet.RateBy]) per metre over the
// component's distance (per is unit.Distance), or per second over its hours
// (unit.Time): of wear made, so a drain does not read as a fall. It needs three
// samples with a rate.
func (s Sheet) WearTrend(analyte string, per unit.Kind) (t trend.Trend, why string, ok bool) {
	m := measureOf(per)
	var at, rates []float64
	for i := range s.History {
		if s.History[i].Exchange {
			continue
		}
		upTo := s
		upTo.History = s.History[:i+1]
		if r, _, ok := upTo.rate(analyte, m); ok {
			at, rates = append(at, s.History[i].meter(m)), append(rates, r)
		}
	}
	if t, ok = trend.Of(at, rates); ok {
		return t, "", true
	}
	return trend.Trend{}, "three samples with different rates of " + analyte, false
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
	if !ok {
		return false, why, false
	}
	laboratory := s.History[last].Laboratory
	return Real(analyte, old, now, laboratory != "" && laboratory == s.History[before].Laboratory), "", true
}

// RatePer10h turns a rate per second into mg/kg per 10 h, the interval on which
// the US DoD JOAP manual says a trend "should always be based" (TM 38-301-3).
func RatePer10h(perSecond float64) float64 { return perSecond * 36_000 }

// ShortRun reports whether a run (seconds) is under 5 h: rates over less "are
// subject to error because the spectrometer tolerance of 1 ppm is averaged in the
// shorter time interval" (TM 38-301-3).
func ShortRun(seconds float64) bool { return seconds < 5*3600 }

// Dropped reports whether all wear metals of the sample fell together since the
// sample before, with no exchange recorded between: at least three of them, none
// risen, each that could show it beyond the method's repeatability. The JOAP
// manual (TM 38-301-3): a significant drop in all metals asks for another sample
// and, if it confirms, a new baseline; fluid was changed unrecorded, or the sample
// is another machine's.
func (s Sheet) Dropped() bool {
	last := len(s.History) - 1
	before := s.History.before(last, false)
	if before < 0 || s.History.before(last, true) > before {
		return false
	}
	seen, fell := 0, 0
	for _, r := range s.History[last].Results {
		old, ok := s.at(before, r.Analyte)
		if !ok || !analyteByName[r.Analyte].Wear {
			continue
		}
		seen++
		now, _ := s.at(last, r.Analyte)
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
