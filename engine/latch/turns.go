package latch

// A Turn is how a latch came to stand at a moment. A rule that goes by the clock keeps its
// latest: a fact that comes late has the ticks judged again that came after it, and the
// clock's past is no fact that could be walked from the beginning.
type Turn struct {
	At    int64 `json:"t"` // Unix nanoseconds
	State State `json:"state"`
	// Clock: it was the clock that turned it, and no event.
	Clock bool `json:"clock,omitempty"`
}

// keptTurns bounds what a latch remembers of itself.
const keptTurns = 16

// Note remembers what the last judgement, at a moment, changed since before.
func (l *Latch) Note(before *Latch, at int64, clock bool) {
	if l.On == before.On && l.Count == before.Count && l.Since == before.Since {
		return
	}
	kept := l.Turns[max(0, len(l.Turns)-keptTurns+1):]
	l.Turns = append(append(make([]Turn, 0, len(kept)+1), kept...), Turn{At: at, State: l.State, Clock: clock})
}

// Before is the latch as it stood before a moment and, where it remembers no more of that,
// as it stood first; from is from when on it is to be judged again, and clock are the ticks
// since then that turned it.
func (l *Latch) Before(moment int64) (then Latch, from int64, clock []int64) {
	n := 0
	for n < len(l.Turns) && l.Turns[n].At < moment {
		n++
	}
	if n == 0 && len(l.Turns) == keptTurns {
		n, moment = 1, l.Turns[0].At+1
	}
	then.Key, then.Turns = l.Key, l.Turns[:n:n]
	if n > 0 {
		then.State = l.Turns[n-1].State
	}
	for _, t := range l.Turns[n:] {
		if t.Clock {
			clock = append(clock, t.At)
		}
	}
	return then, moment, clock
}
