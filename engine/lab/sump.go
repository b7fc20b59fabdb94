package lab

import "math"

// Sump is a volume of fluid in which a component wears, and which is kept full:
// what it consumes is topped up with fresh fluid.
type Sump struct {
	Volume float64 // litres, all the fluid in the circuit
	MakeUp float64 // litres consumed and topped up, per metre (or second); 0 for none
	Wear   float64 // mg/kg × litres made, per metre (or second)
	Fresh  float64 // mg/kg in the fresh fluid
}

// After returns the concentration after a run of t metres (or seconds) from
// start, by the mass balance V dC/dt = w + m (fresh - C):
//
//	C(t) = C0 e^(-mt/V) + (fresh + w/m) (1 - e^(-mt/V)), and C0 + wt/V without make-up.
//
// The consumed fluid is taken to leave with all it holds (it leaks or is thrown
// out); what evaporates leaves metal behind. Elementary mass balance; no
// published worked example found.
func (s Sump) After(start, t float64) float64 {
	x := s.MakeUp * t / s.Volume
	gone := -math.Expm1(-x) // the part of the first fluid that was replaced
	// gone/x tends to 1; both lose their digits to cancellation if written as above.
	worn := 1.0
	if x != 0 {
		worn = gone / x
	}
	return float64(start*(1-gone)) + float64(s.Fresh*gone) + float64(s.Wear*t/s.Volume*worn)
}

// Made returns the wear, in mg/kg × litres per metre (or second), that took the
// concentration from start to end over a run of t: the inverse of [Sump.After].
// s.Wear is not read.
func (s Sump) Made(start, end, t float64) float64 {
	s.Wear = 0
	none := s.After(start, t)
	s.Wear = 1
	return (end - none) / (s.After(start, t) - none)
}

// mostExchanges is where counting exchanges stops: beyond it a drain is not the way.
const mostExchanges = 50

// Exchanges counts the exchanges of a share (0 to 1) of the fluid, one after the
// other, that bring the concentration from now to the target or below (for a
// contaminant or a wrong fluid) or, with up, to the target or above (for an
// additive). ok is false where no number does, because the fresh fluid's own
// content is on the wrong side or more than 50 would be needed. Each takes
// share × Volume litres. The residual after n is (1-share)^n: elementary.
func (s Sump) Exchanges(now, target, share float64, up bool) (n int, ok bool) {
	for v := now; n <= mostExchanges; n++ {
		if !up && atLeast(target, v) || up && atLeast(v, target) {
			return n, true
		}
		v = mix(v, s.Fresh, share)
	}
	return 0, false
}

// ExchangesTo is [Sump.Exchanges] of the share that the latest exchange renewed:
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
	count, ok := Sump{Fresh: fresh}.Exchanges(now, target, s.History[latest].Share, fresh > now)
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

// DilutionNote is what must be said beside [Sump.Exchanges] of that analyte: fewer
// mg/kg of a wear metal are not less wear. It is empty for others.
func DilutionNote(analyte string) string {
	if !analyteByName[analyte].Wear {
		return ""
	}
	return "This dilutes the metal and cures nothing: what wears goes on wearing."
}
