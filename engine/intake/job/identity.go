package job

import (
	"crypto/sha256"
	"fmt"

	"telltale/engine/event"
	"telltale/engine/intake"
)

// Source is that of what is typed as a command.
const Source = "/record"

// Named gives the event an identity, of the source and made of the vehicle and a hash of
// what the event says, and checks it. It counts as reported when it happened.
func Named(ev event.Event, source string) (event.Event, error) {
	ev.ID, ev.Recorded = event.ID{Source: source, ID: "unnamed"}, ev.Time
	text, err := intake.Encode(ev)
	if err != nil {
		return ev, err
	}
	sum := sha256.Sum256(text)
	ev.ID.ID = fmt.Sprintf("%s-%x", ev.Vehicle, sum[:8])
	return intake.Checked(ev)
}

// Again is the same entry under another identity, the n-th from 2: where one was taken
// out, it stays so, and the same entered again is another.
func Again(ev event.Event, n int) (event.Event, error) {
	ev.ID.ID = fmt.Sprintf("%s-%d", ev.ID.ID, n)
	return intake.Checked(ev)
}
