package intake

import (
	"fmt"
	"regexp"
	"time"

	"telltale/engine/event"
	"telltale/engine/fleet"
)

// Tick is the event that makes it at o'clock. The same moment always gives the
// same identity, so a tick that is written twice is one tick.
func Tick(at time.Time) event.Event {
	at = at.UTC()
	ev := event.Event{
		ID: event.ID{Source: "/clock", ID: at.Format(time.RFC3339Nano)}, Kind: event.TickEvent, Time: at, Recorded: at,
	}
	ev.Digest, _ = digest(ev) // a tick holds nothing that JSON cannot
	return ev
}

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
func (t *Ticks) Before(ev event.Event) []event.Event {
	out := t.pass(ev.Recorded)
	if t.own {
		return nil
	}
	return out
}

// Until returns the ticks after the last event, up to that day's midnight UTC and
// including it. It goes on from a file's own ticks, too. Before the first event
// there are none, since there is nothing to begin from.
func (t *Ticks) Until(date time.Time) []event.Event {
	if t.latest.IsZero() {
		return nil
	}
	return t.pass(date.UTC().Truncate(day))
}

func (t *Ticks) pass(to time.Time) []event.Event {
	from := t.latest
	if !to.After(from) {
		return nil
	}
	t.latest = to
	if from.IsZero() {
		return nil
	}
	var out []event.Event
	for m := from.UTC().Truncate(day).Add(day); !m.After(to); m = m.Add(day) {
		out = append(out, Tick(m))
	}
	return out
}

// InFuture refuses an event that says of itself that it happened, or was reported,
// more than 24 h later than it was stored. A file has no time of storing.
func InFuture(ev event.Event, stored time.Time) error {
	limit := stored.Add(day)
	at, t := "time", ev.Time
	if !t.After(limit) {
		at, t = "recordedtime", ev.Recorded
	}
	if !t.After(limit) {
		return nil
	}
	return &Fault{at, fmt.Sprintf("%s is more than 24 h later than it was stored (%s)", t.UTC().Format(time.RFC3339), stored.UTC().Format(time.RFC3339)), event.InTheFuture}
}

var bookHash = regexp.MustCompile(`^sha256:[0-9a-f]{64}$`)

func checkBook(_ event.Event, d *event.BookData) error { return checkHash("data.hash", d.Hash) }

func checkTurn(_ event.Event, d *event.TurnData) error {
	return first(checkName("data.digest", d.Digest), checkDate("data.date", d.Date))
}

func checkSurvey(_ event.Event, d *fleet.SurveyData) error {
	return first(checkTime("data.turn", d.Turn), checkHash("data.definitions", d.Definitions))
}

// checkBaseline checks that the set, if it is in the event, is what the hash says.
func checkBaseline(_ event.Event, d *fleet.BaselineData) error {
	if err := first(checkHash("data.hash", d.Hash), checkTime("data.turn", d.Turn)); err != nil {
		return err
	}
	if d.Set == nil {
		return nil
	}
	if got := d.Set.Hash(); got != d.Hash {
		return refuse("data.set", "its hash is %s, not %s", quote(got), quote(d.Hash))
	}
	return nil
}

func checkHash(what, hash string) error {
	if !bookHash.MatchString(hash) {
		return refuse(what, "%s, wanted sha256: and 64 hex digits", quote(hash))
	}
	return nil
}
