package stream

import (
	"context"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// read delivers a stream's messages on the subjects in order, from a sequence on,
// without end. If that cannot go on, ended says why. Both stop when ctx does.
func (l *Log) read(ctx context.Context, s jetstream.Stream, from uint64, subjects ...string) (<-chan jetstream.Msg, <-chan error, error) {
	c, err := ask(ctx, l.patience, func(ctx context.Context) (jetstream.Consumer, error) {
		return s.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{
			FilterSubjects: subjects, DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: max(from, 1),
		})
	})
	if err != nil {
		return nil, nil, fmt.Errorf("reading %q: %w", subjects, err)
	}
	it, err := c.Messages()
	if err != nil {
		return nil, nil, fmt.Errorf("reading %q: %w", subjects, err)
	}
	msgs, ended := make(chan jetstream.Msg, 64), make(chan error, 1)
	context.AfterFunc(ctx, it.Stop)
	go func() {
		defer forget(s, c)
		defer it.Stop()
		for {
			m, err := it.Next()
			if err != nil {
				ended <- fmt.Errorf("reading %q: %w", subjects, err)
				return
			}
			select {
			case msgs <- m:
			case <-ctx.Done():
				return
			}
		}
	}()
	return msgs, ended, nil
}

// forget takes a reader off the server, which else keeps it for minutes after it
// has stopped, and takes no more than a thousand a stream: lists are asked for often.
func forget(s jetstream.Stream, c jetstream.Consumer) {
	info := c.CachedInfo()
	if info == nil {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), callTimeout)
	defer cancel()
	_ = s.DeleteConsumer(ctx, info.Name) // where that fails, it goes by itself
}

// each hands over the last message of each subject that the pattern matches, and
// returns after the last one.
func (l *Log) each(ctx context.Context, s jetstream.Stream, pattern string, do func(m jetstream.Msg, seq uint64) error) error {
	return l.eachFrom(ctx, s, 1, pattern, do)
}

// eachFrom is each from a sequence on.
func (l *Log) eachFrom(ctx context.Context, s jetstream.Stream, from uint64, pattern string, do func(m jetstream.Msg, seq uint64) error) error {
	end, err := lastOn(ctx, s, pattern, l.patience)
	if err != nil || end == nil || end.Sequence < from {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	msgs, ended, err := l.read(ctx, s, from, pattern)
	if err != nil {
		return err
	}
	for {
		select {
		case m := <-msgs:
			meta, err := m.Metadata()
			if err != nil {
				return fmt.Errorf("reading %q: %w", pattern, err)
			}
			if err := do(m, meta.Sequence.Stream); err != nil {
				return err
			}
			if meta.NumPending == 0 {
				return nil
			}
		case err := <-ended:
			return err
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}
