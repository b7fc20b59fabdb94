package jet

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"
)

// Read delivers the messages on the subjects in order, from a sequence on, without
// end. If that cannot go on, ended says why. Both stop when ctx does.
func (s *Stream) Read(ctx context.Context, from uint64, subjects ...string) (msgs <-chan jetstream.Msg, ended <-chan error, err error) {
	c, err := s.consumer(ctx, jetstream.OrderedConsumerConfig{
		FilterSubjects: subjects, DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: max(from, 1),
	})
	if err != nil {
		return nil, nil, fmt.Errorf("reading %q: %w", subjects, err)
	}
	it, err := c.Messages()
	if err != nil {
		return nil, nil, fmt.Errorf("reading %q: %w", subjects, err)
	}
	out, end := make(chan jetstream.Msg, 64), make(chan error, 1)
	context.AfterFunc(ctx, it.Stop)
	go func() {
		defer s.forget(c)
		defer it.Stop()
		for {
			m, err := it.Next()
			if err != nil {
				end <- fmt.Errorf("reading %q: %w", subjects, err)
				return
			}
			select {
			case out <- m:
			case <-ctx.Done():
				return
			}
		}
	}()
	return out, end, nil
}

func (s *Stream) consumer(ctx context.Context, c jetstream.OrderedConsumerConfig) (jetstream.Consumer, error) {
	return Ask(ctx, s.Patience, func(ctx context.Context) (jetstream.Consumer, error) { return s.S.OrderedConsumer(ctx, c) })
}

// forget takes a reader off the server, which else keeps it for minutes after it
// has stopped, and takes no more than a thousand a stream: lists are asked for often.
func (s *Stream) forget(c jetstream.Consumer) {
	info := c.CachedInfo()
	if info == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), CallTimeout)
	defer cancel()
	_ = s.S.DeleteConsumer(ctx, info.Name) // where that fails, it goes by itself
}

// Follow hands over the messages on the subjects in order, from a sequence on,
// without end: until ctx ends or do fails.
func (s *Stream) Follow(ctx context.Context, from uint64, do func(m jetstream.Msg, meta *jetstream.MsgMetadata) error, subjects ...string) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	msgs, ended, err := s.Read(ctx, from, subjects...)
	if err != nil {
		return err
	}
	for {
		select {
		case m := <-msgs:
			meta, err := m.Metadata()
			if err != nil {
				return fmt.Errorf("reading %q: %w", subjects, err)
			}
			if err := do(m, meta); err != nil {
				return err
			}
		case err := <-ended:
			return cmp.Or(ctx.Err(), err)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

var errWhole = errors.New("all is read")

// Each hands over the messages on the subjects that the pattern matches, from a
// sequence on, and returns after the last one.
func (s *Stream) Each(ctx context.Context, from uint64, pattern string, do func(m jetstream.Msg, seq uint64) error) error {
	return s.EachOf(ctx, from, []string{pattern}, do)
}

// EachOf is [Stream.Each] of several patterns, no two of which match the same subject: one
// reading, in order of the stream.
func (s *Stream) EachOf(ctx context.Context, from uint64, patterns []string, do func(m jetstream.Msg, seq uint64) error) error {
	there, err := s.holding(ctx, from, patterns)
	if err != nil || len(there) == 0 {
		return err
	}
	err = s.Follow(ctx, from, func(m jetstream.Msg, meta *jetstream.MsgMetadata) error {
		if err := do(m, meta.Sequence.Stream); err != nil || meta.NumPending > 0 {
			return err
		}
		return errWhole
	}, there...)
	if errors.Is(err, errWhole) {
		return nil
	}
	return err
}

// holding are the patterns on which there is a message at a sequence or later.
func (s *Stream) holding(ctx context.Context, from uint64, patterns []string) (there []string, err error) {
	held := make([]bool, len(patterns))
	g, ctx := errgroup.WithContext(ctx)
	for i, p := range patterns {
		g.Go(func() error {
			end, err := s.Last(ctx, p)
			held[i] = err == nil && end != nil && end.Sequence >= from
			return err
		})
	}
	err = g.Wait()
	for i, p := range patterns {
		if held[i] {
			there = append(there, p)
		}
	}
	return there, err
}

// FirstSince is the sequence of the first message stored at a time or later; 1
// where none is older, and one behind the last where all are.
func (s *Stream) FirstSince(ctx context.Context, t time.Time) (uint64, error) {
	info, err := s.Info(ctx)
	switch {
	case err != nil:
		return 1, err
	case info.State.Msgs == 0, !info.State.FirstTime.Before(t):
		return 1, nil
	case info.State.LastTime.Before(t):
		return info.State.LastSeq + 1, nil
	}
	seq, err := s.since(ctx, t)
	if err != nil {
		return 1, fmt.Errorf("reading stream %s from %s: %w", s.Name(), t.UTC().Format(time.RFC3339Nano), err)
	}
	return seq, nil
}

func (s *Stream) since(ctx context.Context, t time.Time) (uint64, error) {
	c, err := s.consumer(ctx, jetstream.OrderedConsumerConfig{DeliverPolicy: jetstream.DeliverByStartTimePolicy, OptStartTime: &t})
	if err != nil {
		return 0, err
	}
	defer s.forget(c)
	m, err := c.Next(jetstream.FetchMaxWait(CallTimeout))
	if err != nil {
		return 0, err
	}
	meta, err := m.Metadata()
	if err != nil {
		return 0, err
	}
	return meta.Sequence.Stream, nil
}
