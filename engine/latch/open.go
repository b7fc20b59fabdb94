package latch

import (
	"slices"

	"telltale/rules"
)

// Inexact is what is missing where the ends of a censored result do not agree.
const Inexact = "the exact value of a result below its limit"

// leave leaves the limits as they were before of which the ends do not agree: each limit is
// judged by itself. It reports whether that is a judgement all the same: a worse limit
// decides, or all agree that one went on.
func (l *Latch) leave(before *Latch, open [4]bool) bool {
	worst := 0
	for s, o := range open {
		if o {
			l.On[s], l.Count[s], worst = before.On[s], before.Count[s], s
		}
	}
	if l.Stage = l.worst(); worst > l.Stage {
		l.Missing = []string{Inexact}
	}
	return worst == 0 || l.Stage > worst || l.Stage > before.Stage
}

// Unjudged is what the limits lacked that are worse than the stage or, where a pattern
// stands, what clear did: what could not be judged and nothing worse decided. Sorted, nil
// for nothing.
func Unjudged(r *rules.Rule, l *Latch, lacks [4][]string) []string {
	var out []string
	for s := range lacks {
		if s > l.Stage || s == 0 && !r.Measured && l.Stage > 0 {
			out = append(out, lacks[s]...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
