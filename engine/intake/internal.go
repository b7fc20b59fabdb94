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

func checkBook(d *engine.BookData) error { return checkHash("data.hash", d.Hash) }

func checkTurn(d *engine.TurnData) error {
	if err := checkName("data.digest", d.Digest); err != nil {
		return err
	}
	if _, err := parseDate(d.Date); err != nil {
		return fmt.Errorf("data.date: %w", err)
	}
	return nil
}

func checkSurvey(d *engine.SurveyData) error {
	if _, err := parseTime(d.Turn); err != nil {
		return fmt.Errorf("data.turn: %w", err)
	}
	return checkHash("data.definitions", d.Definitions)
}

// checkBaseline checks that the set, if it is in the event, is what the hash says.
func checkBaseline(d *engine.BaselineData) error {
	if err := checkHash("data.hash", d.Hash); err != nil {
		return err
	}
	if _, err := parseTime(d.Turn); err != nil {
		return fmt.Errorf("data.turn: %w", err)
	}
	if d.Set == nil {
		return nil
	}
	if got := d.Set.Hash(); got != d.Hash {
		return fmt.Errorf("data.set: its hash is %s, not %s", quote(got), quote(d.Hash))
	}
	return nil
}

func checkHash(what, hash string) error {
	if !bookHash.MatchString(hash) {
		return fmt.Errorf("%s: %s, wanted sha256: and 64 hex digits", what, quote(hash))
	}
	return nil
}
