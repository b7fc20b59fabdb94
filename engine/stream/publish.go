package stream

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/intake"
)

// source is that of the events that the service writes itself.
const source = "/telltale"

// eventMsg is the event as it is published: structured CloudEvent, its identity
// also as the message's, so that a repetition within two minutes is not stored.
func eventMsg(ev engine.Event) (*nats.Msg, error) {
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
func (l *Log) Publish(ctx context.Context, ev engine.Event) error {
	m, err := eventMsg(ev)
	if err != nil {
		return err
	}
	return l.store(ctx, m)
}

func (l *Log) store(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) error {
	_, err := ask(ctx, l.patience, func(ctx context.Context) (*jetstream.PubAck, error) {
		return l.js.PublishMsg(ctx, m, opts...)
	})
	if err != nil {
		return fmt.Errorf("publishing to %q: %w", m.Subject, err)
	}
	return nil
}

const tickSubject = "telltale.all.tick"

// PublishTick moves the clock of all partitions to t. A tick that is the last one
// already is not stored again. It fails with ErrFenced if someone else moves the
// clock at the same moment.
func (l *Log) PublishTick(ctx context.Context, t time.Time) error {
	f := l.fence(l.events, tickSubject)
	last, err := f.read(ctx)
	if err != nil {
		return err
	}
	if last != nil {
		ev, err := intake.DecodeInternal(last.Subject, last.Data)
		if err == nil && ev.Time.Equal(t) {
			return nil
		}
	}
	m, err := eventMsg(intake.Tick(t))
	if err != nil {
		return err
	}
	return f.publish(ctx, m)
}

// PublishTurn asks all partitions for their part of a digest's list. now is the
// clock's time; digest and date (the reader's local one) are the turn's key.
func (l *Log) PublishTurn(ctx context.Context, now time.Time, digest, date string) error {
	now = now.UTC()
	return l.Publish(ctx, engine.Event{
		ID:   engine.ID{Source: source, ID: "turn " + digest + " " + date},
		Kind: engine.TurnEvent, Time: now, Recorded: now,
		Data: &engine.TurnData{Digest: digest, Date: date},
	})
}

// LastTick is the time of the last tick in the log; zero if there is none.
func (l *Log) LastTick(ctx context.Context) (time.Time, error) {
	m, err := lastOn(ctx, l.events, tickSubject, l.patience)
	if err != nil || m == nil {
		return time.Time{}, err
	}
	ev, err := intake.DecodeInternal(m.Subject, m.Data)
	if err != nil {
		return time.Time{}, fmt.Errorf("reading the last tick: %w", err)
	}
	return ev.Time, nil
}

// event is the message at a sequence of the log; nil if the log does not hold it.
func (l *Log) event(ctx context.Context, seq uint64) (*jetstream.RawStreamMsg, error) {
	m, err := ask(ctx, l.patience, func(ctx context.Context) (*jetstream.RawStreamMsg, error) {
		return l.events.GetMsg(ctx, seq)
	})
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading event %d: %w", seq, err)
	}
	return m, nil
}

// LastEvent is the sequence of the last event in the log.
func (l *Log) LastEvent(ctx context.Context) (uint64, error) { return l.lastSeq(ctx, l.events) }

func (l *Log) lastSeq(ctx context.Context, s jetstream.Stream) (uint64, error) {
	info, err := ask(ctx, l.patience, func(ctx context.Context) (*jetstream.StreamInfo, error) { return s.Info(ctx) })
	if err != nil {
		return 0, fmt.Errorf("asking for the end of stream %q: %w", s.CachedInfo().Config.Name, err)
	}
	return info.State.LastSeq, nil
}
