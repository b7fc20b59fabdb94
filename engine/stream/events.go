package stream

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/wire"
)

// source is that of the events that the service writes itself.
const source = "/telltale"

// eventMsg is the event as it is published: structured CloudEvent, with a name by which the
// server does not store its repetition within two minutes.
func (l *Log) eventMsg(ev event.Event) (*nats.Msg, error) {
	b, err := intake.Encode(ev)
	if err != nil {
		return nil, err
	}
	m := nats.NewMsg(intake.Subject(ev))
	m.Data = b
	m.Header.Set(jetstream.MsgIDHeader, l.nameOf(ev, b))
	m.Header.Set("Content-Type", "application/cloudevents+json")
	return m, nil
}

// nameOf is what the server knows a message by. It acknowledges a second one of a name without
// storing it, whatever subject the first was on. So nobody who may send an event of one
// vehicle can be able to tell the name of what somebody else will send. It holds the content,
// and the moment at which the log was made, which those who only send cannot read: what the
// service writes itself, such as a tick, has no content that nobody foresees.
func (l *Log) nameOf(ev event.Event, body []byte) string {
	mac := hmac.New(sha256.New, []byte(wire.Stamp(l.Events.S.CachedInfo().Created)))
	mac.Write(body)
	return ev.ID.Source + "/" + ev.ID.ID + "/" + hex.EncodeToString(mac.Sum(nil)[:16])
}

// Publish writes one event to the log and returns once it is stored. Trying
// again stores nothing twice.
func (l *Log) Publish(ctx context.Context, ev event.Event) error {
	m, err := l.eventMsg(ev)
	if err != nil {
		return err
	}
	return l.Events.Store(ctx, m)
}

// PublishCopy writes an event to the log under another name than it came with. The server
// would take one of the same message identity for a repetition of the first.
func (l *Log) PublishCopy(ctx context.Context, ev event.Event, headers map[string]string) error {
	m, err := l.eventMsg(ev)
	if err != nil {
		return err
	}
	m.Header.Set(jetstream.MsgIDHeader, m.Header.Get(jetstream.MsgIDHeader)+" of "+ev.Vehicle)
	for k, v := range headers {
		m.Header.Set(k, v)
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
	m, err := l.eventMsg(intake.Tick(t))
	if err != nil {
		return err
	}
	return f.Publish(ctx, m)
}

// own is one of the service's own events, at the clock's time now.
func own(k event.Kind, id string, now time.Time, data any) event.Event {
	now = now.UTC()
	return event.Event{ID: event.ID{Source: source, ID: id}, Kind: k, Time: now, Recorded: now, Data: data}
}

// ScopeHeader is on a turn: of what its reader hears. A program that does not know it gives all.
const ScopeHeader = "Telltale-Scope"

// maxScope bounds it: a message may have headers of 64 KiB.
const maxScope = 32 << 10

// PublishTurn asks all partitions for their part of a digest's list. now is the
// clock's time; digest and date (the reader's local one) are the turn's key. scope says of what
// the reader hears, in a text that Config.Narrow of the service reads; "" for everything.
func (l *Log) PublishTurn(ctx context.Context, now time.Time, digest, date, scope string) error {
	m, err := l.eventMsg(own(event.TurnEvent, "turn "+digest+" "+date, now, &event.TurnData{Digest: digest, Date: date}))
	if err != nil {
		return err
	}
	if scope != "" && len(scope) <= maxScope {
		m.Header.Set(ScopeHeader, scope)
	}
	return l.Events.Store(ctx, m)
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

// Stored is an event as it lies in the log.
type Stored struct {
	Subject string
	Header  nats.Header
	At      time.Time // when it was stored, by the server's clock
	Body    []byte
}

// EventAt is what lies at a sequence of the log, readable or not; nil where there is nothing.
func (l *Log) EventAt(ctx context.Context, seq uint64) (*Stored, error) {
	m, err := l.Events.Get(ctx, seq)
	if err != nil || m == nil {
		return nil, err
	}
	return &Stored{m.Subject, m.Header, m.Time, m.Data}, nil
}

// LastEvent is the sequence of the last event in the log.
func (l *Log) LastEvent(ctx context.Context) (uint64, error) { return l.Events.LastSeq(ctx) }

// seenHeader is on a tick of FollowEvents: the sequence of the event that passed
// the midnight.
const seenHeader = "Telltale-Seen"

// Unclocked is the time of what is written before any event has given the clock
// one. FollowEvents does not move the clock by it: else the first event would bring
// the midnights of half a century.
var Unclocked = time.Unix(0, 0).UTC()

// FollowEvents moves the clock by the events: each midnight UTC that the reported
// time of an event passes is a tick, stored after that event. It goes on from the
// last such tick, and ends when ctx does.
func (l *Log) FollowEvents(ctx context.Context) error {
	ticks, seen, err := l.resumeTicks(ctx)
	if err != nil {
		return err
	}
	return l.Events.Follow(ctx, seen, func(m jetstream.Msg, meta *jetstream.MsgMetadata) error {
		return l.passEvent(ctx, ticks, m, meta.Sequence.Stream)
	}, "telltale.event.>")
}

// resumeTicks gives the clock as the last tick left it, and the event to go on
// from.
func (l *Log) resumeTicks(ctx context.Context) (*intake.Ticks, uint64, error) {
	ticks := intake.NewTicks(false)
	ev, m, err := decodeLast(l.Events.Last(ctx, tickSubject))
	if err != nil || m == nil {
		return ticks, 1, err
	}
	ticks.Before(event.Event{Recorded: ev.Time})
	seen, err := strconv.ParseUint(m.Header.Get(seenHeader), 10, 64)
	if err != nil {
		seen = 1 // a tick that something else published
	}
	return ticks, seen, nil
}

func (l *Log) passEvent(ctx context.Context, ticks *intake.Ticks, m jetstream.Msg, seq uint64) error {
	ev, err := intake.DecodeMessage(m.Subject(), m.Data())
	if err != nil || ev.Recorded.Equal(Unclocked) {
		return nil // its partition refuses it, or it says nothing of the time
	}
	for _, t := range ticks.Before(ev) {
		msg, err := l.eventMsg(t)
		if err != nil {
			return err
		}
		msg.Header.Set(seenHeader, strconv.FormatUint(seq, 10))
		if err := l.Events.Store(ctx, msg); err != nil {
			return fmt.Errorf("moving the clock to %s: %w", t.Time.Format(time.RFC3339), err)
		}
	}
	return nil
}

// Ticks reads the clock: the last tick of the log and all that follow, in order
// and without end, until ctx ends or do fails.
func (l *Log) Ticks(ctx context.Context, do func(time.Time) error) error {
	last, err := l.Events.Last(ctx, tickSubject)
	if err != nil {
		return err
	}
	from := uint64(1)
	if last != nil {
		from = last.Sequence
	}
	return l.Events.Follow(ctx, from, func(m jetstream.Msg, _ *jetstream.MsgMetadata) error {
		ev, err := intake.DecodeInternal(m.Subject(), m.Data())
		if err != nil {
			return fmt.Errorf("reading a tick: %w", err)
		}
		return do(ev.Time)
	}, tickSubject)
}
