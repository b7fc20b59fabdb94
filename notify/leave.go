package notify

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Kind is a kind of mail that a person can ask for no more of. What cannot wait (a
// warning, and work overdue that the law asks for) comes all the same.
type Kind string

// The kinds: due lists, and what happened to a vehicle.
const (
	Lists    Kind = "lists"
	Messages Kind = "messages"
)

// Left is someone who asked for no more of a kind.
type Left struct {
	Person string    `json:"person"`
	Kind   Kind      `json:"kind"`
	Since  time.Time `json:"since"`
}

// Leave notes that a person wants no more mails of a kind, or with back that they
// want them again; the operators hear of it. It is written down when it returns.
// The caller sees to it that it does not run beside Handle or Tick.
func (n *Notifier) Leave(ctx context.Context, person string, kind Kind, back bool, at time.Time) error {
	p := n.Directory().Person(person)
	if p == nil || kind != Lists && kind != Messages {
		return fmt.Errorf("unsubscribing from %q: there is no person %q", kind, person)
	}
	if back != n.mark.left(person, kind) {
		return nil // it is so already
	}
	if back {
		n.mark.Left = slices.DeleteFunc(n.mark.Left, func(l Left) bool { return l.Person == person && l.Kind == kind })
	} else {
		n.mark.Left = append(n.mark.Left, Left{person, kind, at.UTC()})
	}
	title, text := leaveWords(readerOf(p), kind, back, n.Directory().EntriesFor(person))
	// The key says how often it went back and forth within a second at most.
	if err := n.Notice(ctx, fmt.Sprint("left ", person, " ", kind, " ", back, " ", at.Unix()), at, title, text); err != nil {
		return err
	}
	return n.Flush(ctx, max(n.last, n.mark.Seq))
}

// left says whether the person wants none of a kind.
func (k *mark) left(person string, kind Kind) bool {
	return slices.ContainsFunc(k.Left, func(l Left) bool { return l.Person == person && l.Kind == kind })
}

// WhoLeft lists, from what the store keeps, who asked for no more of what.
func WhoLeft(ctx context.Context, s Store) ([]Left, error) {
	k, err := readMark(ctx, s)
	if err != nil {
		return nil, fmt.Errorf("reading who left: %w", err)
	}
	slices.SortFunc(k.Left, func(a, b Left) int {
		return cmp.Or(strings.Compare(a.Person, b.Person), cmp.Compare(a.Kind, b.Kind))
	})
	return k.Left, nil
}
