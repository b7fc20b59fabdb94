package stream

import (
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// TrimSaid takes out of ALARMS what was stored before a time, as far as nobody needs
// it: nothing after told, up to where the notifier has read, nothing that the fold
// of a partition from its checkpoint is compared with, and not the last message of
// a partition, which fences and says how far it is. It returns how many went.
func (l *Log) TrimSaid(ctx context.Context, before time.Time, told uint64) (uint64, error) {
	upTo, err := l.saidBefore(ctx, before)
	if err != nil {
		return 0, err
	}
	upTo = min(upTo, told+1)
	was, err := l.countSaid(ctx)
	for p := 0; err == nil && upTo > 1 && p < Partitions; p++ {
		err = l.trimPart(ctx, p, upTo)
	}
	if err != nil {
		return 0, err
	}
	is, err := l.countSaid(ctx)
	return was - min(was, is), err
}

func (l *Log) countSaid(ctx context.Context) (uint64, error) {
	info, err := l.saidState(ctx)
	return info.Msgs, err
}

func (l *Log) saidState(ctx context.Context) (jetstream.StreamState, error) {
	info, err := ask(ctx, l.patience, func(ctx context.Context) (*jetstream.StreamInfo, error) { return l.alarms.Info(ctx) })
	if err != nil {
		return jetstream.StreamState{}, fmt.Errorf("asking for the state of stream %s: %w", AlarmsStream, err)
	}
	return info.State, nil
}

// saidBefore is the sequence of the first message stored at the time or later; 1 where
// none is older.
func (l *Log) saidBefore(ctx context.Context, t time.Time) (uint64, error) {
	state, err := l.saidState(ctx)
	switch {
	case err != nil, state.Msgs == 0, !state.FirstTime.Before(t):
		return 1, err
	case state.LastTime.Before(t):
		return state.LastSeq + 1, nil
	}
	c, err := ask(ctx, l.patience, func(ctx context.Context) (jetstream.Consumer, error) {
		return l.alarms.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{DeliverPolicy: jetstream.DeliverByStartTimePolicy, OptStartTime: &t})
	})
	if err != nil {
		return 1, fmt.Errorf("reading stream %s from %s: %w", AlarmsStream, stamp(t), err)
	}
	defer forget(l.alarms, c)
	m, err := c.Next(jetstream.FetchMaxWait(callTimeout))
	if err != nil {
		return 1, fmt.Errorf("reading stream %s from %s: %w", AlarmsStream, stamp(t), err)
	}
	meta, err := m.Metadata()
	if err != nil {
		return 1, fmt.Errorf("reading stream %s from %s: %w", AlarmsStream, stamp(t), err)
	}
	return meta.Sequence.Stream, nil
}

// trimPart takes out what a partition said before a sequence.
func (l *Log) trimPart(ctx context.Context, p int, upTo uint64) error {
	subject := fmt.Sprintf("telltale.alarm.%d", p)
	last, err := lastOn(ctx, l.alarms, subject, l.patience)
	if err != nil || last == nil {
		return err
	}
	m, err := lastOn(ctx, l.state, checkpointSubject(p), l.patience)
	if err != nil || m == nil {
		return err
	}
	c, err := decodeCheckpoint(m.Data)
	if err != nil {
		return fmt.Errorf("partition %d: %w", p, err)
	}
	return l.purge(ctx, l.alarms, subject, min(upTo, last.Sequence, c.Said))
}

// purge takes the messages on one subject before a sequence out of a stream.
func (l *Log) purge(ctx context.Context, s jetstream.Stream, subject string, before uint64) error {
	if before <= 1 {
		return nil
	}
	_, err := ask(ctx, l.patience, func(ctx context.Context) (struct{}, error) {
		return struct{}{}, s.Purge(ctx, jetstream.WithPurgeSubject(subject), jetstream.WithPurgeSequence(before))
	})
	if err != nil {
		return fmt.Errorf("taking what is old out of %q: %w", subject, err)
	}
	return nil
}
