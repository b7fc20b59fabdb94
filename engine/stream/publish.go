package stream

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/intake"
)

// source is that of the events that the service writes itself.
const source = "/telltale"

// eventMsg is the event as it is published: structured CloudEvent, its identity
// also as the message's, so that a repetition within two minutes is not stored.
func eventMsg(ev event.Event) (*nats.Msg, error) {
	b, err := intake.Encode(ev)
	if err != nil {
		return nil, err
	}
	m := nats.NewMsg(intake.Subject(ev))
	m.Data = b
	m.Header.Set("Nats-Msg-Id", ev.ID.Source+"/"+ev.ID.ID)
	m.Header.Set("Content-Type", "application/cloudevents+json")
	return m, nil
}

// Publish writes one event to the log and returns once it is stored. Trying
// again stores nothing twice.
func (l *Log) Publish(ctx context.Context, ev event.Event) error {
	m, err := eventMsg(ev)
	if err != nil {
		return err
	}
	return l.Events.Store(ctx, m)
}

const tickSubject = "telltale.all.tick"

// PublishTick moves the clock of all partitions to t. A tick that is the last one
// already is not stored again. It fails with jet.ErrFenced if someone else moves the
// clock at the same moment.
func (l *Log) PublishTick(ctx context.Context, t time.Time) error {
	f := l.Events.Fence(tickSubject)
	last, err := f.Latest(ctx)
	if err != nil {
		return err
	}
	if last != nil {
		ev, err := intake.DecodeInternal(last.Subject, last.Data)
		if err == nil && ev.Time.Equal(t) { // one that cannot be read is refused, and followed
			return nil
		}
	}
	m, err := eventMsg(intake.Tick(t))
	if err != nil {
		return err
	}
	return f.Publish(ctx, m)
}

// PublishTurn asks all partitions for their part of a digest's list. now is the
// clock's time; digest and date (the reader's local one) are the turn's key.
func (l *Log) PublishTurn(ctx context.Context, now time.Time, digest, date string) error {
	now = now.UTC()
	return l.Publish(ctx, event.Event{
		ID:   event.ID{Source: source, ID: "turn " + digest + " " + date},
		Kind: event.TurnEvent, Time: now, Recorded: now,
		Data: &event.TurnData{Digest: digest, Date: date},
	})
}

// LastTick is the time of the last tick in the log; zero if there is none.
func (l *Log) LastTick(ctx context.Context) (time.Time, error) {
	ev, _, err := decodeLast(l.Events.Last(ctx, tickSubject))
	return ev.Time, err
}

// decodeLast reads the last one of the service's own events of a kind; m is nil where
// there is none.
func decodeLast(m *jetstream.RawStreamMsg, err error) (event.Event, *jetstream.RawStreamMsg, error) {
	if err != nil || m == nil {
		return event.Event{}, nil, err
	}
	ev, err := intake.DecodeInternal(m.Subject, m.Data)
	if err != nil {
		return ev, nil, fmt.Errorf("reading the last event on %q: %w", m.Subject, err)
	}
	return ev, m, nil
}

// LastEvent is the sequence of the last event in the log.
func (l *Log) LastEvent(ctx context.Context) (uint64, error) { return l.Events.LastSeq(ctx) }
