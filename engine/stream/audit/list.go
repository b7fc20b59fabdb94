package audit

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
)

// Query says which entries are asked for; what is empty asks for all.
type Query struct {
	Who     string // exactly: "/people/ines"
	Vehicle string
	What    What
	// Since and Until bound when an entry was stored: from the one on, before the other.
	Since, Until time.Time
	// Before is the place behind which a page begins: the Next of the page before.
	Before uint64
	Limit  int // 50 where 0
}

// Stored is an entry and its place in the stream; later ones have higher places.
type Stored struct {
	Seq uint64 `json:"seq"`
	Entry
}

// Page is a part of the trail, the newest first.
type Page struct {
	Entries []Stored
	// Next is where the next page begins; 0 where nothing older is there.
	Next uint64
}

// pageSize is how many entries a page has.
const pageSize = 50

// firstStep is how many messages of the stream are looked back at first; then twice as many,
// and so on. The server passes by those under other subjects.
const firstStep = 256

// Size is how much the trail holds, and how many entries wait for it in memory.
func (l *Log) Size(ctx context.Context) (size stream.Size, waiting int, err error) {
	size, err = stream.SizeOf(ctx, l.stream)
	l.mu.Lock()
	defer l.mu.Unlock()
	return size, len(l.waiting) + l.lost, err
}

var errFar = errors.New("all that was asked for is read")

// List are the newest entries that a query asks for. A page costs by its entries, and by how
// far apart they are, not by all there are.
func (l *Log) List(ctx context.Context, q Query) (Page, error) {
	if q.Limit <= 0 {
		q.Limit = pageSize
	}
	first, end, err := l.span(ctx, q)
	if err != nil {
		return Page{}, err
	}
	var p Page
	for step := uint64(firstStep); end > first && len(p.Entries) <= q.Limit; step *= 2 {
		from := max(first, end-min(end, step))
		list, err := l.between(ctx, from, end, q)
		if err != nil {
			return Page{}, err
		}
		slices.Reverse(list)
		p.Entries = append(p.Entries, list...)
		end = from
	}
	if len(p.Entries) > q.Limit {
		p.Entries = p.Entries[:q.Limit]
		p.Next = p.Entries[q.Limit-1].Seq
	}
	return p, nil
}

// span is from which place on, and before which one, a query's entries lie.
func (l *Log) span(ctx context.Context, q Query) (first, end uint64, err error) {
	info, err := l.stream.Info(ctx)
	if err != nil {
		return 0, 0, err
	}
	first, end = max(info.State.FirstSeq, 1), info.State.LastSeq+1
	if q.Before > 0 {
		end = min(end, q.Before)
	}
	if !q.Since.IsZero() {
		from, err := l.stream.FirstSince(ctx, q.Since)
		if err != nil {
			return 0, 0, err
		}
		first = max(first, from)
	}
	if !q.Until.IsZero() {
		until, err := l.stream.FirstSince(ctx, q.Until)
		if err != nil {
			return 0, 0, err
		}
		end = min(end, max(until, first))
	}
	return first, end, nil
}

// between are the entries from a place on and before another, in order.
func (l *Log) between(ctx context.Context, from, end uint64, q Query) (list []Stored, err error) {
	err = l.stream.Each(ctx, from, pattern(q), func(m jetstream.Msg, seq uint64) error {
		if seq >= end {
			return errFar
		}
		s := Stored{Seq: seq}
		if err := json.Unmarshal(m.Data(), &s.Entry); err != nil {
			return fmt.Errorf("reading audit entry %d: %w", seq, err)
		}
		list = append(list, s)
		return nil
	})
	if errors.Is(err, errFar) {
		err = nil
	}
	return list, err
}

// pattern is what the subjects of a query's entries match.
func pattern(q Query) string {
	any := func(name string) string {
		if name == "" {
			return "*"
		}
		return token(oneLine(name, maxName))
	}
	return "telltale.audit." + any(string(q.What)) + "." + any(q.Who) + "." + any(q.Vehicle)
}
