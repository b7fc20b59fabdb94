package stream

import (
	"cmp"
	"context"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/stream/wire"
)

// Copies hands over a copy of each partition as it was stored last, a few seconds
// behind its owner at the most while that runs. It may be folded on: nothing that
// it says is published.
func (l *Log) Copies(ctx context.Context, do func(*engine.Partition) error) error {
	shelf := NewShelf(l)
	for i := range Partitions {
		p, err := l.copyOf(ctx, shelf, i)
		if err == nil {
			err = cmp.Or(do(p), p.Err())
		}
		if err != nil {
			return fmt.Errorf("partition %d: %w", i, err)
		}
	}
	return nil
}

func (l *Log) copyOf(ctx context.Context, shelf *Shelf, i int) (*engine.Partition, error) {
	p := engine.NewPartition()
	m, err := l.State.Last(ctx, wire.CheckpointSubject(i))
	if err != nil || m == nil {
		return p, err
	}
	c, err := wire.DecodeCheckpoint(m.Data)
	if err != nil {
		return nil, err
	}
	book, err := shelf.Book(ctx, c.Book)
	if err != nil {
		l.Logger.Warn("rules in force unreadable; folding without rules", "error", err)
	}
	p.Restore(c.Tick, book)
	p.Resume(c.Resumed)
	set, err := shelf.Baselines(ctx, c.Baselines)
	if err != nil {
		return nil, err
	}
	p.RestoreBaselines(c.Baselines, set)
	err = l.State.Each(ctx, 1, wire.RecordSubject(i, "*"), func(m jetstream.Msg, _ uint64) error {
		if len(m.Data()) == 0 {
			return nil // it went
		}
		v, err := wire.VehicleOf(m.Subject())
		if err != nil {
			return err
		}
		return p.Load(v, m.Data())
	})
	return p, err
}
