// Package sight keeps what texts say of which vehicles somebody may see. The engine does not
// know the language of such a text: whoever starts the service hands in what reads it.
package sight

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"telltale/engine/event"
)

// Sees reports whether a registered vehicle may be seen, by the name that its record is kept
// under; the registration has its present name as Key where that is another. It must be quick,
// pure and safe for concurrent use.
type Sees = func(home string, v *event.VehicleData) bool

const (
	// mostKept is how many texts are kept read: one for each kind of people who look at once.
	mostKept = 128
	// mostText bounds a text, in bytes: it goes to each partition with each question.
	mostText = 64 << 10
)

// Reader reads texts, and keeps what it has read lately. It is safe for concurrent use.
type Reader struct {
	read func(text string) (Sees, error)

	mu   sync.Mutex
	kept []kept // the latest asked after first
}

type kept struct {
	text string
	sees Sees
}

// New reads texts by a function; where it is nil no text can be read.
func New(read func(text string) (Sees, error)) *Reader { return &Reader{read: read} }

// Of is what a text says; nil, which sees all, for "" alone. With an error nothing may be
// shown: what cannot be read must never come to mean everything (OWASP ASVS 5.0.0, 16.5.3).
func (r *Reader) Of(text string) (Sees, error) {
	switch {
	case text == "":
		return nil, nil
	case r == nil || r.read == nil:
		return nil, errors.New("reading which vehicles may be seen: this service cannot, so it shows none")
	case len(text) > mostText:
		return nil, fmt.Errorf("reading which vehicles may be seen: %d bytes are too many, %d are allowed", len(text), mostText)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if i := slices.IndexFunc(r.kept, func(k kept) bool { return k.text == text }); i >= 0 {
		k := r.kept[i]
		copy(r.kept[1:], r.kept[:i])
		r.kept[0] = k
		return k.sees, nil
	}
	sees, err := r.read(text)
	switch {
	case err != nil:
		return nil, fmt.Errorf("reading which vehicles may be seen: %w", err)
	case sees == nil: // which would be taken for all
		return nil, errors.New("reading which vehicles may be seen: the text says nothing")
	}
	r.kept = slices.Insert(r.kept[:min(len(r.kept), mostKept-1)], 0, kept{text, sees})
	return sees, nil
}
