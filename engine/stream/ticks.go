package stream

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/intake"
)

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
