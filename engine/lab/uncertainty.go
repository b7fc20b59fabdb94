package lab

import (
	"math"

	"telltale/rules/unit"
)

// An uncertainty here is what the method alone accounts for, 95 times in 100. A
// single result lies within r/√2 of what would be found on average, r being what two
// single results may lie apart ([Precision.Limit]): r is 1.96 √2 standard deviations
// (ISO 5725-6, from memory). Independent errors add by their squares.

// MadeError is the uncertainty of [Sheet.Made]: that of the sample's result and, as
// far as the exchange left it behind, that of the result before the exchange.
func (s Sheet) MadeError(analyte string) (v float64, why string, ok bool) {
	if _, why, ok = s.Made(analyte); !ok {
		return 0, why, false
	}
	h, last := s.History, len(s.History)-1
	return s.between(analyte, h.before(h.before(last, true), false)), "", true
}

// between is the uncertainty of the sample's result less what is left in it of that
// at step i.
func (s Sheet) between(analyte string, i int) float64 {
	last := len(s.History) - 1
	now, _ := s.at(last, analyte)
	then, _ := s.at(i, analyte)
	one := s.oneLaboratory(i, last)
	p := PrecisionOf(analyte)
	return math.Hypot(p.Limit(now, one), float64(s.History.left(i, last)*p.Limit(then, one))) / math.Sqrt2
}

func (s Sheet) oneLaboratory(i, j int) bool {
	name := s.History[i].Laboratory
	return name != "" && name == s.History[j].Laboratory
}

// MadeIsReal reports whether [Sheet.Made] is more than its uncertainty.
func (s Sheet) MadeIsReal(analyte string) (really bool, why string, ok bool) {
	made, why, ok := s.Made(analyte)
	if !ok {
		return false, why, false
	}
	within, _, _ := s.MadeError(analyte)
	return math.Abs(made) > within, "", true
}

// RateError is the uncertainty of [Sheet.RateBy], by the same meter.
func (s Sheet) RateError(analyte string, per unit.Kind) (v float64, why string, ok bool) {
	m := measureOf(per)
	if _, why, ok = s.rate(analyte, m); !ok {
		return 0, why, false
	}
	last := len(s.History) - 1
	from := s.History.before(last, false)
	return s.between(analyte, from) / s.History.heldRun(from, last, m), "", true
}
