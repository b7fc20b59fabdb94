package job

import (
	"cmp"
	"crypto/sha256"
	"fmt"

	"telltale/engine/event"
	"telltale/engine/intake"
)

// Source is that of what is typed as a command.
const Source = "/record"

// named gives a typed event an identity, made of the vehicle's first key and a hash of what
// the event says, and checks it. It counts as reported when it happened. The same entry has
// the same identity whatever the vehicle's key is by now.
func (k *Known) named(ev event.Event) (event.Event, error) {
	ev.ID, ev.Recorded = event.ID{Source: Source, ID: "unnamed"}, ev.Time
	first := ev
	first.Vehicle = cmp.Or(k.First, ev.Vehicle)
	text, err := intake.Encode(first)
	if err != nil {
		return ev, err
	}
	sum := sha256.Sum256(text)
	ev.ID.ID = fmt.Sprintf("%s-%x", first.Vehicle, sum[:8])
	return intake.Checked(ev)
}

// Again is the same entry under another identity, the n-th from 2: where one was taken
// out, it stays so, and the same entered again is another.
func Again(ev event.Event, n int) (event.Event, error) {
	ev.ID.ID = fmt.Sprintf("%s-%d", ev.ID.ID, n)
	return intake.Checked(ev)
}
