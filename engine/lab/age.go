package lab

import "math"

// Ages is how long a fluid has been in use: metres and seconds of running, NaN
// where unknown.
type Ages struct{ Distance, Hours float64 }

func (a Ages) by(m measure) float64 {
	if m == byHours {
		return a.Hours
	}
	return a.Distance
}

// Ages returns the fluid's age at step i, mixed over partial exchanges:
// (1-f) × age before + run since. Before any exchange was seen, the ages stated on
// samples are taken as they are. An exchange of unknown share, or of fluid of
// unknown age, leaves the age unknown until a later sample states it.
func (h History) Ages(i int) Ages {
	if i < 0 || i >= len(h) {
		return Ages{math.NaN(), math.NaN()}
	}
	return Ages{h.mixed(i, byDistance), h.mixed(i, byHours)}
}

func (h History) mixed(last int, m measure) float64 {
	age, at := math.NaN(), math.NaN() // the age when the meter stood at `at`
	tracked := false                  // an exchange gave the age: stated ones no longer count
	var here float64                  // the age at the step itself
	for i := range h[:last+1] {
		s := &h[i]
		now, stated := s.meter(m), s.stated(m)
		here = age + (now - at)
		switch {
		case s.Exchange:
			here = afterExchange(here, s.Share)
			age, at, tracked = here, now, !math.IsNaN(here)
		case !math.IsNaN(stated) && (!tracked || math.IsNaN(here)):
			here = stated
			// A sample without a meter value cannot anchor what comes after it.
			if !math.IsNaN(now) {
				age, at, tracked = stated, now, false
			}
		}
	}
	return here
}

func afterExchange(age, share float64) float64 {
	if share == 1 {
		return 0 // whatever the age before
	}
	return (1 - share) * age
}

// Masked reports whether an exchange hides what an alarm saw: fluid was
// exchanged since the sample h[reached] at which the alarm's stage was reached,
// and the fluid has since the latest exchange run less than half of age, the age
// it had then ([History.Ages] of reached). A partial drain dilutes the evidence,
// not the wear. Where run or age are unknown it is masked. A negative reached
// stands for a sample older than all of h.
func Masked(h History, reached int, age Ages) bool {
	last := len(h) - 1
	exchange := h.before(last, true)
	if exchange < 0 || exchange < reached {
		return false
	}
	for _, m := range []measure{byDistance, byHours} {
		run, half := h.run(exchange, last, m), age.by(m)/2
		if !math.IsNaN(run) && !math.IsNaN(half) {
			return !atLeast(run, half)
		}
	}
	return true
}

// atLeast reports whether a reaches b; values within 1e-9 of each other,
// relatively, are equal.
func atLeast(a, b float64) bool {
	return a >= b || math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b))
}
