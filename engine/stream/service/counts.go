package service

import (
	"cmp"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/intake"
)

// counts are what a worker has seen since it was loaded.
type counts struct {
	events, transitions, refused, notJudged int

	stages, reasons map[string]int
	lag             uint64 // events behind the last one folded, when that one came
}

// reason classes a refusal, so that the classes are few whatever is sent.
// undecoded is why it was refused before it was folded.
func reason(r *alarm.Refusal, undecoded error) string {
	return string(cmp.Or(r.Class, intake.ClassOf(undecoded), "inapplicable"))
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
			w.seen.reasons[reason(o.Refused, undecoded)]++
		case o.NotJudged != nil:
			w.seen.notJudged++
		}
	}
}
