package stream

import (
	"context"
	"fmt"
	"time"

	"telltale/engine/stream/wire"
)

// TrimSaid takes out of ALARMS what was stored before a time, as far as nobody needs
// it: nothing after told, up to where the notifier has read, nothing that the fold
// of a partition from its checkpoint is compared with, and not the last message of
// a partition, which fences and says how far it is. It returns how many went.
func (l *Log) TrimSaid(ctx context.Context, before time.Time, told uint64) (uint64, error) {
	upTo, err := l.Alarms.FirstSince(ctx, before)
	if err != nil {
		return 0, err
	}
	upTo = min(upTo, told+1)
	was, err := l.Alarms.Info(ctx)
	for p := 0; err == nil && upTo > 1 && p < Partitions; p++ {
		err = l.trimPart(ctx, p, upTo)
	}
	if err != nil {
		return 0, err
	}
	is, err := l.Alarms.Info(ctx)
	if err != nil {
		return 0, err
	}
	return was.State.Msgs - min(was.State.Msgs, is.State.Msgs), nil
}

// trimPart takes out what a partition said before a sequence.
func (l *Log) trimPart(ctx context.Context, p int, upTo uint64) error {
	subject := wire.AlarmSubject(p)
	last, err := l.Alarms.Last(ctx, subject)
	if err != nil || last == nil {
		return err
	}
	m, err := l.State.Last(ctx, wire.CheckpointSubject(p))
	if err != nil || m == nil {
		return err
	}
	c, err := wire.DecodeCheckpoint(m.Data)
	if err != nil {
		return fmt.Errorf("partition %d: %w", p, err)
	}
	return l.Alarms.Purge(ctx, subject, min(upTo, last.Sequence, c.Said))
}
