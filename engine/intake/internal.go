package intake

import (
	"fmt"
	"regexp"
	"time"

	"telltale/engine"
)

// Tick is the event that makes it at o'clock. The same moment always gives the
// same identity, so a tick that is written twice is one tick.
func Tick(at time.Time) engine.Event {
	at = at.UTC()
	ev := engine.Event{
		ID: engine.ID{Source: "/clock", ID: at.Format(time.RFC3339Nano)}, Kind: engine.TickEvent, Time: at, Recorded: at,
	}
	ev.Digest, _ = digest(ev) // a tick holds nothing that JSON cannot
	return ev
}

var bookHash = regexp.MustCompile(`^sha256:[0-9a-f]{64}$`)

func checkBook(d *engine.BookData) error {
	if !bookHash.MatchString(d.Hash) {
		return fmt.Errorf("data.hash: %s, wanted sha256: and 64 hex digits", quote(d.Hash))
	}
	return nil
}

func checkTurn(d *engine.TurnData) error {
	if err := checkName("data.digest", d.Digest); err != nil {
		return err
	}
	if _, err := parseDate(d.Date); err != nil {
		return fmt.Errorf("data.date: %w", err)
	}
	return nil
}
