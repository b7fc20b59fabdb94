package service

import (
	"strings"

	"telltale/engine"
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
// undecoded says that it was refused before it was folded.
func reason(refused string, undecoded bool) string {
	switch {
	case undecoded && strings.HasSuffix(refused, "is written by the service alone"):
		return forged
	case undecoded && strings.Contains(refused, "later than it was stored"):
		return inFuture
	case undecoded:
		return malformed
	case strings.HasPrefix(refused, "conflict:"):
		return conflict
	case strings.HasPrefix(refused, "folding it went wrong:"):
		return fault
	}
	return inapplicable
}

func (w *worker) count(out []engine.Output, undecoded bool, lag uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.seen.events++
	w.seen.lag = lag
	for _, o := range out {
		switch {
		case o.Transition != nil:
			w.seen.transitions++
			w.seen.stages[o.Transition.To]++
		case o.Refused != nil:
			w.seen.refused++
			w.seen.reasons[reason(o.Refused.Refused, undecoded)]++
		case o.NotJudged != nil:
			w.seen.notJudged++
		}
	}
}
