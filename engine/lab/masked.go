package lab

import (
	"math"

	"telltale/rules/unit"
)

// Masked reports whether exchanges since the sample h[reached], at which an alarm's
// stage was reached, hide what the alarm saw. age is what the fluid had run then
// ([History.Ages] of reached). A partial drain dilutes the evidence, not the wear: it is
// hidden until the fluid holds again what was made in as long a run as the exchanges took
// out with them, at most half of age. A little that is topped up so hides little. A
// negative reached stands for a sample older than all of h.
//
// Where run or age are not known, what is hidden comes to light with the second sample
// after the exchange.
func Masked(h History, reached int, age Ages) bool {
	last := len(h) - 1
	exchange := h.before(last, true)
	if exchange < 0 || exchange < reached {
		return false
	}
	for _, kind := range []unit.Kind{unit.Distance, unit.Time} {
		run, need := h.run(exchange, last, kind), age.by(kind)/2
		if reached >= 0 {
			if held := h.heldRun(reached, last, kind); !math.IsNaN(held) {
				run, need = held, math.Min(need, age.by(kind)*(1-h.left(reached, last)))
			}
		}
		if !math.IsNaN(run) && !math.IsNaN(need) {
			return !atLeast(run, need)
		}
	}
	return h.samplesSinceExchange(reached) < 2
}

// samplesSinceExchange counts the samples after the first exchange that follows the step.
func (h History) samplesSinceExchange(after int) (n int) {
	exchanged := false
	for i := after + 1; i < len(h); i++ {
		if h[i].Exchange {
			exchanged = true
		} else if exchanged {
			n++
		}
	}
	return n
}
