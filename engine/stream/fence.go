package stream

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"
)

// ErrFenced says that another owner has written since: whoever gets it must stop
// writing there.
var ErrFenced = errors.New("another owner has taken over")

// ownerHeader marks who wrote a fenced message and which of his it is, so that a
// publish without an answer can be looked up.
const ownerHeader = "Telltale-Owner"

// fence writes to one exact subject of a stream, and each time only if the last
// message there is the one that it read or wrote last.
type fence struct {
	js       jetstream.JetStream
	stream   jetstream.Stream
	subject  string
	owner    string // unique to this fence
	patience time.Duration
	last     uint64 // the stream sequence of the last message; 0 if there is none
	count    int    // messages written
}

// read returns the last message on the subject, nil if there is none, and takes
// it as the one to be followed.
func (f *fence) read(ctx context.Context) (*jetstream.RawStreamMsg, error) {
	m, err := lastOn(ctx, f.stream, f.subject, f.patience)
	if err != nil {
		return nil, err
	}
	f.last = 0
	if m != nil {
		f.last = m.Sequence
	}
	return m, nil
}

// lastOn returns the last message on a subject or nil. The subject may hold
// wildcards.
func lastOn(ctx context.Context, s jetstream.Stream, subject string, wait time.Duration) (*jetstream.RawStreamMsg, error) {
	m, err := ask(ctx, wait, func(ctx context.Context) (*jetstream.RawStreamMsg, error) {
		return s.GetLastMsgForSubject(ctx, subject)
	})
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading the last message on %q: %w", subject, err)
	}
	return m, nil
}

// publish writes one message. ErrFenced says that someone else wrote; any other
// error that it may or may not be written.
func (f *fence) publish(ctx context.Context, m *nats.Msg) error {
	f.count++
	mark := fmt.Sprintf("%s-%d", f.owner, f.count)
	m.Subject = f.subject
	if m.Header == nil {
		m.Header = nats.Header{}
	}
	m.Header.Set(ownerHeader, mark)
	p := newPatience(f.patience)
	for {
		err := f.try(ctx, m)
		if err == nil {
			return nil
		}
		if !unknown(err) && !wrongSequence(err) {
			return fmt.Errorf("publishing to %q: %w", f.subject, err)
		}
		if done, err := f.lookBack(ctx, mark); done || err != nil {
			return err
		}
		// Nobody wrote: a refusal of a replicated stream without a rival, or no
		// answer. A late first try and this one cannot both be stored, since both
		// expect the same sequence.
		if err := p.again(ctx, err); err != nil {
			return fmt.Errorf("publishing to %q: %w", f.subject, err)
		}
	}
}

func (f *fence) try(ctx context.Context, m *nats.Msg) error {
	ctx, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	ack, err := f.js.PublishMsg(ctx, follows(m, f.last))
	if err == nil {
		f.last = ack.Sequence
	}
	return err
}

// lookBack reports whether the message with that mark is stored after all.
func (f *fence) lookBack(ctx context.Context, mark string) (bool, error) {
	m, err := lastOn(ctx, f.stream, f.subject, f.patience)
	switch {
	case err != nil:
		return false, err
	case m == nil && f.last == 0, m != nil && m.Sequence == f.last:
		return false, nil
	case m != nil && m.Header.Get(ownerHeader) == mark:
		f.last = m.Sequence
		return true, nil
	}
	return false, fmt.Errorf("publishing to %q: %w", f.subject, ErrFenced)
}

// follows has the server store the message only after the one at last on its subject,
// or as the first where last is 0.
func follows(m *nats.Msg, last uint64) *nats.Msg {
	m.Header.Set(jetstream.ExpectedLastSubjSeqHeader, strconv.FormatUint(last, 10))
	return m
}

func fenced(err error) bool { return errors.Is(err, ErrFenced) }

// fence makes one that has not read yet.
func (l *Log) fence(s jetstream.Stream, subject string) *fence {
	return &fence{js: l.js, stream: s, subject: subject, owner: nuid.Next(), patience: l.patience}
}
