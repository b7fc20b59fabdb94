package meter

import "slices"

// What is usual for a vehicle is told by its latest days with a reading, no more
// than thinning always keeps, so that thinning does not change the answer.
// Common practice, no source.
const (
	silentDays  = 7
	silentCount = 4 // days, to know what is usual
)

// settle is how long after a part of a backlog came its end is waited for: what gateways
// kept comes in within the hours after they are heard again. Common practice, no source.
const settle = day

// Backlog reports whether a reading that was taken at a moment and came at another is
// part of a backlog: it lay somewhere for more than a day. Unix seconds.
func Backlog(taken, came int64) bool { return came-taken > day }

// Pause reports whether a clock that goes on from one moment to another had stopped: the
// slowest has a tick a day. Unix seconds.
func Pause(last, next int64) bool { return last > 0 && next-last > day+day/24 }

// Patience is how long a vehicle may go unread before it is silent: more than Times times
// the gap that three in four of its latest gaps between days with a reading do not
// exceed, and never within Least. The zero Patience waits for ever.
type Patience struct {
	Least int64 // seconds
	Times float64
}

// Wait is from when a vehicle is waited for, Unix seconds, 0 for nothing of the kind.
type Wait struct {
	// Since is when it was registered, or came back into service.
	Since int64
	// Backlog is when the last part of a backlog came, of its readings or of all
	// events: while it comes in, nobody can tell who is silent.
	Backlog int64
}

// Silent reports whether the vehicle has not been read for longer than is usual
// for it, and since when. The moments are in order of time, Unix seconds, disputed
// readings included: they too were heard. With readings on fewer than four days
// nothing is usual yet, and it is never silent.
func (p Patience) Silent(readings []int64, w Wait, now int64) (since int64, silent bool) {
	from, ok := p.SilentFrom(readings, w)
	if !ok || now < from {
		return 0, false
	}
	return readings[len(readings)-1], true
}

// SilentFrom is the moment from which the vehicle is silent if it is not read
// again; ok is false where it never is.
func (p Patience) SilentFrom(readings []int64, w Wait) (at int64, ok bool) {
	var room [silentDays]int64
	latest := room[:0]
	for i := len(readings) - 1; i >= 0 && len(latest) < silentDays; i-- {
		if n := len(latest); n == 0 || floorDiv(readings[i], day) != floorDiv(latest[n-1], day) {
			latest = append(latest, readings[i])
		}
	}
	if len(latest) < silentCount || p == (Patience{}) {
		return 0, false
	}
	var gapRoom [silentDays]int64
	gaps := gapRoom[:0]
	for i := range len(latest) - 1 {
		gaps = append(gaps, latest[i]-latest[i+1])
	}
	slices.Sort(gaps)
	usual := gaps[(3*len(gaps)+3)/4-1]
	at = max(latest[0], w.Since) + max(p.Least, int64(float64(p.Times*float64(usual)))) + 1
	if w.Backlog > 0 {
		at = max(at, w.Backlog+settle+1)
	}
	return at, true
}
