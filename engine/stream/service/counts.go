package service

import (
	"errors"
	"strings"

	"telltale/engine"
	"telltale/engine/intake"
)

// counts are what a worker has seen since it was loaded.
type counts struct {
	events, transitions, refused, notJudged int

	stages, reasons map[string]int
	lag             uint64 // events behind the last one folded, when that one came
}

// The reasons by which refusals are counted.
const (
	malformed    = "malformed"    // not an event, or not one of its kind
	forged       = "forged"       // of a kind that only the service writes
	inFuture     = "future"       // observed later than it was stored
	conflict     = "conflict"     // the identity of another event
	fault        = "fault"        // our own, in folding it
	inapplicable = "inapplicable" // fits nothing that is known of the vehicle
)

// reason classes a refusal, so that the classes are few whatever is sent.
// undecoded is why it was refused before it was folded.
func reason(refused string, undecoded error) string {
	switch {
	case errors.Is(undecoded, intake.ErrForged):
		return forged
	case errors.Is(undecoded, intake.ErrFuture):
		return inFuture
	case undecoded != nil:
		return malformed
	case strings.HasPrefix(refused, "conflict:"):
		return conflict
	case strings.HasPrefix(refused, "folding it went wrong:"):
		return fault
	}
	return inapplicable
}

func (w *worker) count(out []engine.Output, undecoded error, lag uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.seen.events++
	w.seen.lag = lag
	for _, o := range out {
		switch {
		case o.Transition != nil:
			w.seen.transitions++
			w.seen.stages[string(o.Transition.To)]++
		case o.Refused != nil:
			w.seen.refused++
			w.seen.reasons[reason(o.Refused.Refused, undecoded)]++
		case o.NotJudged != nil:
			w.seen.notJudged++
		}
	}
}
