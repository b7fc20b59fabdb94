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
// after the first of the exchanges: judged is which of those that could be judged the last
// one of h is. Common practice, no source.
func Masked(h History, reached int, age Ages, judged int) bool {
	last := len(h) - 1
	exchange := h.before(last, true)
	if !h.Exchanged(reached) {
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
	return judged < 2
}

// Exchanged reports whether fluid was exchanged, and not only topped up, after the step.
func (h History) Exchanged(after int) bool {
	e := h.before(len(h)-1, true)
	return e >= 0 && e >= after
}
