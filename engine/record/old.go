package record

import (
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
)

// oldAfter is how long after it was observed something is old when it comes: longer than
// a workshop's papers lie about, so that what comes later is the past being typed in.
// Common practice, no source.
const oldAfter = 14 * 24 * time.Hour

// Old reports whether what was observed at a time was old when it came. When it came is
// the latest of its recorded time and the last tick, so that it hangs on the log alone.
func Old(observed, came time.Time) bool { return came.Sub(observed) > oldAfter }

// Ahead is a follow-up that old work opened all the same, since its point lay ahead when
// the work was entered. That is settled once: by what was read later nobody can tell
// whether it did.
type Ahead struct {
	alarm.Key          // of the follow-up
	By        event.ID `json:"by"` // the work
}

// Opens reports whether the work opened the follow-up of that key.
func (r *Record) Opens(s *Service, k alarm.Key) bool {
	return !s.Old || slices.Contains(r.Ahead, Ahead{k, s.ID})
}

// KeepAhead notes follow-ups of old work, and forgets those of work that is no longer
// kept.
func (r *Record) KeepAhead(more []Ahead) {
	if len(more) == 0 {
		return
	}
	gone := func(a Ahead) bool {
		return !slices.ContainsFunc(r.Services, func(s Service) bool { return s.ID == a.By })
	}
	r.Ahead = latest(slices.DeleteFunc(append(slices.Clone(r.Ahead), more...), gone), keptAhead)
}

// KnownAt is the accepted reading that tells where the meter stands at a moment: the last
// one, unless that is old by then.
func (c *Chain) KnownAt(now time.Time) (Point, bool) {
	p, ok := c.Last(now.UnixNano())
	return p, ok && !Old(time.Unix(0, p.At), now)
}
