// Package jet makes calls to JetStream that outlast a server that does not answer
// for a while.
//
// A [Stream] is read, asked and written with patience: a call that may be repeated
// is, until it is answered or patience ends. Its messages on some subjects are had
// in order by [Stream.Each] (the last ones, then it returns) and [Stream.Follow]
// (without end). A [Fence] writes to one subject, and only while nobody else does.
package jet

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Stream is one stream of a JetStream server. It is safe for concurrent use.
type Stream struct {
	JS jetstream.JetStream
	S  jetstream.Stream
	// Patience is how long to go on asking a server that does not answer.
	Patience time.Duration
}

// Name is the stream's name.
func (s *Stream) Name() string { return s.S.CachedInfo().Config.Name }

// Info is the state of the stream.
func (s *Stream) Info(ctx context.Context) (*jetstream.StreamInfo, error) {
	info, err := Ask(ctx, s.Patience, func(ctx context.Context) (*jetstream.StreamInfo, error) { return s.S.Info(ctx) })
	if err != nil {
		return nil, fmt.Errorf("asking for the state of stream %s: %w", s.Name(), err)
	}
	return info, nil
}

// LastSeq is the sequence of the stream's last message; 0 if it had none.
func (s *Stream) LastSeq(ctx context.Context) (uint64, error) {
	info, err := s.Info(ctx)
	if err != nil {
		return 0, err
	}
	return info.State.LastSeq, nil
}

// Last is the last message on a subject, which may hold wildcards; nil if there is
// none.
func (s *Stream) Last(ctx context.Context, subject string) (*jetstream.RawStreamMsg, error) {
	m, err := Ask(ctx, s.Patience, func(ctx context.Context) (*jetstream.RawStreamMsg, error) {
		return s.S.GetLastMsgForSubject(ctx, subject)
	})
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the last message on %q: %w", subject, err)
	}
	return m, nil
}

// Get is the message at a sequence; nil if the stream does not hold it.
func (s *Stream) Get(ctx context.Context, seq uint64) (*jetstream.RawStreamMsg, error) {
	m, err := Ask(ctx, s.Patience, func(ctx context.Context) (*jetstream.RawStreamMsg, error) { return s.S.GetMsg(ctx, seq) })
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading message %d of stream %s: %w", seq, s.Name(), err)
	}
	return m, nil
}

// Store writes a message and returns once it is stored. It may be stored twice.
func (s *Stream) Store(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) error {
	_, err := Ask(ctx, s.Patience, func(ctx context.Context) (*jetstream.PubAck, error) { return s.JS.PublishMsg(ctx, m, opts...) })
	if err != nil {
		return fmt.Errorf("publishing to %q: %w", m.Subject, err)
	}
	return nil
}

// Purge takes the messages on one subject before a sequence out of the stream.
func (s *Stream) Purge(ctx context.Context, subject string, before uint64) error {
	if before <= 1 {
		return nil
	}
	_, err := Ask(ctx, s.Patience, func(ctx context.Context) (struct{}, error) {
		return struct{}{}, s.S.Purge(ctx, jetstream.WithPurgeSubject(subject), jetstream.WithPurgeSequence(before))
	})
	if err != nil {
		return fmt.Errorf("taking what is old out of %q: %w", subject, err)
	}
	return nil
}
