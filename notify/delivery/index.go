package delivery

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"sync"
)

// Source has the deliveries that were stored since, and says how many there are in all.
type Source interface {
	Since(ctx context.Context, from uint64, do func(seq uint64, key string, body []byte) error) (held uint64, err error)
}

// Index keeps what is known of all deliveries but what was sent, and gives it a page at a time.
// Its first question reads all of them, each after that what was stored since. It is safe for
// concurrent use.
type Index struct {
	from   Source
	mu     sync.Mutex
	by     map[string]Delivery
	read   uint64      // the sequence of the last one that was read
	sorted []*Delivery // oldest first; nil where something changed since
}

// NewIndex makes one, for a process.
func NewIndex(from Source) *Index { return &Index{from: from, by: map[string]Delivery{}} }

// Query says what a page should hold.
type Query struct {
	Person string // an id; all where empty
	Way    string // mail, or a way to programs; all where empty
	State  State  // all where empty
	// Names are all names of the vehicle that is asked about; all vehicles where it is empty.
	Names []string
	// After is the key of the last line before the page; from the latest on where it is empty
	// or there is none of that key.
	After string
	Limit int // how many lines the page may have; 50 where 0
}

func (q *Query) matches(d *Delivery) bool {
	return (q.Person == "" || d.Person == q.Person) && (q.Way == "" || d.Way == q.Way) && (len(q.Names) == 0 || slices.Contains(q.Names, d.Vehicle))
}

// Page is some of the deliveries, those made last first.
type Page struct {
	Lines []Delivery // without Raw
	// Total is how many match; States are they by state, whatever state is asked for.
	Total  int
	States map[State]int
	// Oldest is the one of them, without Raw, that was made first; nil where there is none.
	Oldest *Delivery
	// Next is After of the page that follows; "" where there is none.
	Next string
}

// Page is the latest that match, behind a place.
func (x *Index) Page(ctx context.Context, q Query) (Page, error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if err := x.catchUp(ctx); err != nil {
		return Page{}, err
	}
	const usual = 50
	p, limit := Page{States: map[State]int{}}, q.Limit
	if limit <= 0 {
		limit = usual
	}
	var after *Delivery
	if d, ok := x.by[q.After]; ok {
		after = &d
	}
	for _, d := range slices.Backward(x.sorted) {
		if !q.matches(d) {
			continue
		}
		p.States[d.State]++
		if q.State != "" && q.State != d.State {
			continue
		}
		p.Total++
		p.Oldest = d
		switch {
		case after != nil && d.order(after) >= 0:
		case len(p.Lines) < limit:
			p.Lines = append(p.Lines, *d)
		default:
			p.Next = p.Lines[limit-1].Key
		}
	}
	if p.Oldest != nil {
		own := *p.Oldest
		p.Oldest = &own
	}
	return p, nil
}

// catchUp reads what was stored since the last question. Where some were dropped since, all is
// read again.
func (x *Index) catchUp(ctx context.Context) error {
	held, err := x.since(ctx)
	if err == nil && held < uint64(len(x.by)) {
		x.by, x.read, x.sorted = map[string]Delivery{}, 0, nil
		_, err = x.since(ctx)
	}
	if err != nil || x.sorted != nil {
		return err
	}
	for _, key := range slices.Sorted(maps.Keys(x.by)) {
		d := x.by[key]
		x.sorted = append(x.sorted, &d)
	}
	slices.SortFunc(x.sorted, func(a, b *Delivery) int { return a.order(b) })
	return nil
}

func (x *Index) since(ctx context.Context) (held uint64, err error) {
	return x.from.Since(ctx, x.read+1, func(seq uint64, key string, body []byte) error {
		var d Delivery
		if err := json.Unmarshal(body, &d); err != nil {
			return fmt.Errorf("reading delivery %q: %w", key, err)
		}
		d.Raw = nil
		x.by[key], x.read, x.sorted = d, seq, nil
		return nil
	})
}
