package stream

import (
	"context"
	"fmt"
	"time"

	"telltale/engine/intake"
)

// Ticks reads the clock: the last tick of the log and all that follow, in order
// and without end, until ctx ends or do fails.
func (l *Log) Ticks(ctx context.Context, do func(time.Time) error) error {
	last, err := lastOn(ctx, l.events, tickSubject, l.patience)
	if err != nil {
		return err
	}
	from := uint64(1)
	if last != nil {
		from = last.Sequence
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	msgs, ended, err := l.read(ctx, l.events, from, tickSubject)
	if err != nil {
		return err
	}
	for {
		select {
		case m := <-msgs:
			ev, bad := intake.DecodeInternal(m.Subject(), m.Data())
			if bad != nil {
				return fmt.Errorf("reading a tick: %w", bad)
			}
			err = do(ev.Time)
		case err = <-ended:
		case <-ctx.Done():
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
	}
}
