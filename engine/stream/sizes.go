package stream

import (
	"context"
	"time"

	"telltale/engine/stream/jet"
)

// Size is how much one stream holds.
type Size struct {
	Stream   string
	Messages uint64
	Bytes    uint64
	// MaxBytes is where it refuses more; 0 where only the disk bounds it.
	MaxBytes uint64
	// First and Last are when the oldest and the newest message were stored, by the clock on
	// the server's wall; zero where there is none.
	First, Last time.Time
	Replicas    int
}

// Sizes are how much the streams hold, the log of events first.
func (l *Log) Sizes(ctx context.Context) (out []Size, err error) {
	for _, s := range []*jet.Stream{l.Events, l.Alarms, l.Said, l.State, l.Books, l.deliveries} {
		one, err := SizeOf(ctx, s)
		if err != nil {
			return out, err
		}
		out = append(out, one)
	}
	return out, nil
}

// SizeOf is how much one stream holds.
func SizeOf(ctx context.Context, s *jet.Stream) (Size, error) {
	info, err := s.Info(ctx)
	if err != nil {
		return Size{}, err
	}
	one := Size{Stream: s.Name(), Messages: info.State.Msgs, Bytes: info.State.Bytes,
		MaxBytes: uint64(max(info.Config.MaxBytes, 0)), Replicas: info.Config.Replicas}
	if info.State.Msgs > 0 {
		one.First, one.Last = info.State.FirstTime, info.State.LastTime
	}
	return one, nil
}
