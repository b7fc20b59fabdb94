// Package gateway sends events to a service as a gateway does, and asks what became
// of them.
package gateway

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/service"
)

// Sender publishes events, each under its subject, with its identity as message id,
// kept until it is acknowledged. It belongs to one goroutine.
type Sender struct {
	// Known is how many of the events were stored before: within two minutes the server
	// drops what has the same identity, unread.
	Known int

	at      service.At
	js      jetstream.JetStream
	pending []sending
	last    map[int]uint64   // the sequence of the last event stored, by partition
	lines   map[event.ID]int // each event's line
	stored  map[uint64]event.ID
	homes   Homes // nil until the first event is sent
}

// sending is an event that is not acknowledged yet.
type sending struct {
	jetstream.PubAckFuture
	partition int
	id        event.ID
}

// inFlight bounds the events that are not acknowledged yet.
const inFlight = 256

// New sends over the connection, and asks where at says.
func New(at service.At) (*Sender, error) {
	js, err := jetstream.New(at.Conn)
	return &Sender{at: at, js: js, last: map[int]uint64{}, lines: map[event.ID]int{}, stored: map[uint64]event.ID{}}, err
}

// Send sends some events over the connection, and returns once they are stored.
func Send(ctx context.Context, at service.At, events ...event.Event) (*Sender, error) {
	s, err := New(at)
	for i := 0; err == nil && i < len(events); i++ {
		err = s.Send(ctx, events[i])
	}
	if err == nil {
		err = s.Wait(ctx)
	}
	return s, err
}

// Send publishes an event. It is stored once Wait has returned. Its message is named by
// what it says as well: one that was refused and is sent again corrected, under the same
// identity, is no repetition.
// Under the first name of a vehicle that was renamed, where it is folded, Refused need not
// wait for it to be handed over.
func (s *Sender) Send(ctx context.Context, ev event.Event) error {
	if s.homes == nil {
		var err error
		if s.homes, err = HomesOf(ctx, s.at); err != nil {
			return err
		}
	}
	ev = s.homes.Of(ev)
	s.lines[ev.ID] = ev.Line
	body, err := intake.Encode(ev)
	if err != nil {
		return err
	}
	f, err := s.js.PublishAsync(intake.Subject(ev), body, jetstream.WithMsgID(fmt.Sprintf("%s/%s/%x", ev.ID.Source, ev.ID.ID, sha256.Sum256(body))))
	if err != nil {
		return err
	}
	if s.pending = append(s.pending, sending{f, stream.Partition(ev.Vehicle), ev.ID}); len(s.pending) >= inFlight {
		return s.Wait(ctx)
	}
	return nil
}

// Wait returns once everything sent is stored.
func (s *Sender) Wait(ctx context.Context) error {
	for _, f := range s.pending {
		select {
		case ack := <-f.Ok():
			if ack.Duplicate {
				s.Known++
			}
			s.last[f.partition] = max(s.last[f.partition], ack.Sequence)
			s.stored[ack.Sequence] = f.id
		case err := <-f.Err():
			return err
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(30 * time.Second):
			return errors.New("no answer from the server after 30 s")
		}
	}
	s.pending = s.pending[:0]
	return nil
}

// Refused waits until the service has folded what was stored, and lists which of it
// it could not use, with the events' lines. What it made of an event of the same identity
// that was sent before is not among it.
func (s *Sender) Refused(ctx context.Context) ([]alarm.Refusal, error) {
	for {
		h, err := s.at.Health(ctx)
		if err != nil {
			return nil, err
		}
		if s.folded(h) {
			break
		}
		if jet.Rest(ctx, 50*time.Millisecond); ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	list, err := service.Refused.From(ctx, s.at, service.Question{})
	var out []alarm.Refusal
	for _, r := range list {
		if id, ours := s.stored[r.Seq]; ours && r.Event != nil && *r.Event == id {
			r.Line = s.lines[id]
			out = append(out, r)
		}
	}
	return out, err
}

// folded reports whether each partition is past the last event sent to it.
func (s *Sender) folded(h service.Health) bool {
	return h.Unanswered == nil && !slices.ContainsFunc(h.Partitions, func(p service.PartitionHealth) bool {
		return p.Seq < s.last[p.Partition] && p.Fault == ""
	})
}
