// Package refusals keeps the latest of what could not be used, and gives it a page at a time.
//
// [Keep] makes a [Kept], one for a process. Its first question reads the latest 100,000 messages
// of ALARMS; each one after that reads what was said since.
package refusals

import (
	"context"
	"slices"
	"sync"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/wire"
)

const (
	// Most is how many refusals are kept.
	Most = 1000
	// within is among how many of the latest messages of ALARMS they are looked for: a second's
	// reading, however long the service has run.
	within = 100_000
	// pageOf is how many lines a page has where nothing is said of it.
	pageOf = 50
)

// Kept is the latest refusals of a log. It is safe for concurrent use.
type Kept struct {
	log  *stream.Log
	mu   sync.Mutex
	list []Line // oldest first
	read uint64 // the last message of ALARMS that was read
	more bool   // some were refused that are kept no longer
}

// Keep keeps those of a log.
func Keep(l *stream.Log) *Kept { return &Kept{log: l} }

// Line is one refusal. Its Seq is that of the event in the log, 0 for what has none.
type Line struct {
	// Key is the line's place, a stream.SaidAt: the message in ALARMS and the number of the output in it, as
	// "1042.3".
	Key string `json:"key"`
	alarm.Refusal

	at stream.SaidAt
}

// Query says what a page should hold.
type Query struct {
	// Names are all names of the vehicle that is asked about (Service.Names); all vehicles where
	// it is empty.
	Names []string
	// Class is the kind of reason; all where it is empty. Other is those of no class.
	Class event.RefusalClass
	// After is the Key of the last line before the page; from the latest on where it is empty.
	After string
	// Limit is how many lines it may have; 50 where 0.
	Limit int
}

// Other stands for refusals that have no class: events that do not fit what is known of the
// vehicle.
const Other event.RefusalClass = "other"

// Page is some of the latest refusals, the latest first.
type Page struct {
	Lines []Line
	// Total is how many match among those that are kept; Reasons are they by class, whatever
	// class is asked for.
	Total   int
	Reasons map[event.RefusalClass]int
	// Next is After of the page that follows; "" where there is none.
	Next string
	// More: older ones are not kept, or lie further back than is looked for them.
	More bool
}

// Page is the latest that match, behind a place.
func (k *Kept) Page(ctx context.Context, q Query) (Page, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if err := k.catchUp(ctx); err != nil {
		return Page{}, err
	}
	p := Page{Reasons: map[event.RefusalClass]int{}, More: k.more}
	after, behind := stream.ParseSaidAt(q.After)
	limit := q.Limit
	if limit <= 0 {
		limit = pageOf
	}
	for _, l := range slices.Backward(k.list) {
		if len(q.Names) > 0 && !slices.Contains(q.Names, l.Vehicle) {
			continue
		}
		class := classOf(&l.Refusal)
		p.Reasons[class]++
		if q.Class != "" && q.Class != class {
			continue
		}
		p.Total++
		switch {
		case behind && l.at.Compare(after) >= 0:
		case len(p.Lines) < limit:
			p.Lines = append(p.Lines, l)
		default:
			p.Next = p.Lines[limit-1].Key
		}
	}
	return p, nil
}

func classOf(r *alarm.Refusal) event.RefusalClass {
	if r.Class == "" {
		return Other
	}
	return r.Class
}

// catchUp reads what was said since the last question.
func (k *Kept) catchUp(ctx context.Context) error {
	last, err := k.log.LastOutput(ctx)
	if err != nil {
		return err
	}
	if last < k.read { // the log went back
		k.list, k.read, k.more = nil, 0, false
	}
	from := max(k.read+1, last-min(last, within)+1)
	k.more = k.more || from > k.read+1
	n := 0
	return k.log.EachOutput(ctx, from, "telltale.alarm.*", func(m wire.Message, o engine.Output) error {
		if m.Seq != k.read {
			k.read, n = m.Seq, 0
		}
		if o.Refused != nil {
			k.add(m, n, *o.Refused)
		}
		n++
		return nil
	})
}

func (k *Kept) add(m wire.Message, n int, r alarm.Refusal) {
	r.Seq = m.Event
	l := Line{Refusal: r, at: stream.SaidAt{Seq: m.Seq, N: n}}
	l.Key = l.at.String()
	if k.list = append(k.list, l); len(k.list) > Most {
		k.list, k.more = slices.Delete(k.list, 0, len(k.list)-Most), true
	}
}
