package stream

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/intake"
)

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
		msg, err := eventMsg(t)
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
