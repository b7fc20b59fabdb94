package lab

import "math"

// mostExchanges is where counting exchanges stops: beyond it a drain is not the way.
const mostExchanges = 50

// exchanges counts the exchanges of a share (0 to 1) of the fluid, one after the
// other, that bring the concentration from now to the target or below (for a
// contaminant or a wrong fluid) or, with up, to the target or above (for an
// additive). ok is false where no number does, because the fresh fluid's own
// content is on the wrong side or more than 50 would be needed. The residual after n
// is (1-share)^n: elementary.
func exchanges(now, fresh, target, share float64, up bool) (n int, ok bool) {
	for v := now; n <= mostExchanges; n++ {
		if !up && atLeast(target, v) || up && atLeast(v, target) {
			return n, true
		}
		v = mix(v, fresh, share)
	}
	return 0, false
}

// ExchangesTo is [exchanges] of the share that the latest exchange renewed:
// down to the target, or up to it where fresh fluid holds more than the sample.
func (s Sheet) ExchangesTo(analyte string, target float64) (v float64, why string, ok bool) {
	var m missing
	now, fresh, share := m.in(s.Value(analyte)), m.in(s.FreshValue(analyte)), s.latestShare()
	m.unless(share > 0, "an exchange of a known share")
	n, ok := exchanges(now, fresh, target, share, fresh > now)
	m.unless(ok, "a target that exchanges can reach")
	return m.answer(float64(n))
}

// latestShare is what the latest exchange renewed; NaN where that is not known.
func (s Sheet) latestShare() float64 {
	if latest := s.History.before(len(s.History)-1, true); latest >= 0 {
		return s.History[latest].Share
	}
	return math.NaN()
}

// LitresTo is the fluid that [Sheet.ExchangesTo] takes, of all that the circuit holds:
// litres, NaN where that is not known.
func (s Sheet) LitresTo(analyte string, target, capacity float64) (v float64, why string, ok bool) {
	var m missing
	n := m.in(s.ExchangesTo(analyte, target))
	m.unless(capacity > 0, "the component's capacity")
	return m.answer(n * float64(s.latestShare()*capacity))
}

// DilutionNote is what must be said beside [exchanges] of that analyte: fewer
// mg/kg of a wear metal are not less wear. It is empty for others.
func DilutionNote(analyte string) string {
	if !isWear(analyte) {
		return ""
	}
	return "This dilutes the metal but cures nothing: the wear goes on."
}
