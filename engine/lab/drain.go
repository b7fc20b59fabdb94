package lab

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
func (s Sheet) ExchangesTo(analyte string, target float64) (n float64, why string, ok bool) {
	now, why, ok := s.Value(analyte)
	if !ok {
		return 0, why, false
	}
	fresh, why, ok := s.FreshValue(analyte)
	if !ok {
		return 0, why, false
	}
	latest := s.History.before(len(s.History)-1, true)
	if latest < 0 || !(s.History[latest].Share > 0) {
		return 0, "an exchange of a known share, to reckon with", false
	}
	count, ok := exchanges(now, fresh, target, s.History[latest].Share, fresh > now)
	if !ok {
		return 0, "a target that exchanges can reach", false
	}
	return float64(count), "", true
}

// LitresTo is the fluid that [Sheet.ExchangesTo] takes, of all that the circuit holds:
// litres, NaN where that is not known.
func (s Sheet) LitresTo(analyte string, target, capacity float64) (v float64, why string, ok bool) {
	n, why, ok := s.ExchangesTo(analyte, target)
	if !ok {
		return 0, why, false
	}
	if !(capacity > 0) {
		return 0, "the component's capacity", false
	}
	share := s.History[s.History.before(len(s.History)-1, true)].Share
	return n * float64(share*capacity), "", true
}

// DilutionNote is what must be said beside [exchanges] of that analyte: fewer
// mg/kg of a wear metal are not less wear. It is empty for others.
func DilutionNote(analyte string) string {
	if !isWear(analyte) {
		return ""
	}
	return "This dilutes the metal and cures nothing: what wears goes on wearing."
}
