package intake

import (
	"fmt"
	"time"

	"telltale/engine"
)

// Ticks makes of a file's events the log that a fold reads. Each midnight UTC that
// the recorded time passes is a tick, folded before the line that passes it; a file
// that holds ticks is folded with those alone.
type Ticks struct {
	own    bool
	latest time.Time // the greatest recorded time so far, zero before the first event
}

// NewTicks begins a file; own says that it holds ticks (see Holds).
func NewTicks(own bool) *Ticks { return &Ticks{own: own} }

// Before returns the ticks to fold before ev: the midnights after the greatest
// recorded time so far and at or before ev's. There are none before the first
// event. A late report, recorded earlier than one before it, passes none.
func (t *Ticks) Before(ev engine.Event) []engine.Event {
	out := t.pass(ev.Recorded)
	if t.own {
		return nil
	}
	return out
}

// Until returns the ticks after the last event, up to that day's midnight UTC and
// including it. It goes on from a file's own ticks, too. Before the first event
// there are none, since there is nothing to begin from.
func (t *Ticks) Until(date time.Time) []engine.Event {
	if t.latest.IsZero() {
		return nil
	}
	return t.pass(date.UTC().Truncate(day))
}

func (t *Ticks) pass(to time.Time) []engine.Event {
	from := t.latest
	if !to.After(from) {
		return nil
	}
	t.latest = to
	if from.IsZero() {
		return nil
	}
	var out []engine.Event
	for m := from.UTC().Truncate(day).Add(day); !m.After(to); m = m.Add(day) {
		out = append(out, Tick(m))
	}
	return out
}

// InFuture refuses an event that says of itself that it happened, or was reported,
// more than 24 h later than it was stored. A file has no time of storing.
func InFuture(ev engine.Event, stored time.Time) error {
	limit := stored.Add(day)
	for _, t := range []struct {
		name string
		time time.Time
	}{{"time", ev.Time}, {"recordedtime", ev.Recorded}} {
		if t.time.After(limit) {
			return fmt.Errorf("%s: %s is more than 24 h later than it was stored (%s)",
				t.name, t.time.UTC().Format(time.RFC3339), stored.UTC().Format(time.RFC3339))
		}
	}
	return nil
}
