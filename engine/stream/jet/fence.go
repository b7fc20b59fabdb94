package jet

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"
)

// ErrFenced says that another owner has written since: whoever gets it must stop
// writing there.
var ErrFenced = errors.New("another owner has taken over")

// Fenced reports whether an error is ErrFenced.
func Fenced(err error) bool { return errors.Is(err, ErrFenced) }

// ownerHeader marks who wrote a fenced message and which of his it is, so that a
// publish without an answer can be looked up.
const ownerHeader = "Telltale-Owner"

// Fence writes to one exact subject of a stream, and each time only if the last
// message there is the one that it read or wrote last. It belongs to one goroutine.
type Fence struct {
	*Stream
	Subject string
	Owner   string // unique to this fence
	Seq     uint64 // of the last message there; 0 if there is none, or none was read
	count   int    // messages written
}

// Fence makes one that has not read yet.
func (s *Stream) Fence(subject string) *Fence {
	return &Fence{Stream: s, Subject: subject, Owner: nuid.Next()}
}

// Latest is the last message on the subject, nil if there is none, and takes it as
// the one to be followed.
func (f *Fence) Latest(ctx context.Context) (*jetstream.RawStreamMsg, error) {
	m, err := f.Last(ctx, f.Subject)
	if err != nil {
		return nil, err
	}
	f.Seq = 0
	if m != nil {
		f.Seq = m.Sequence
	}
	return m, nil
}

// Publish writes one message. ErrFenced says that someone else wrote; any other
// error that it may or may not be written.
func (f *Fence) Publish(ctx context.Context, m *nats.Msg) error {
	f.count++
	mark := fmt.Sprintf("%s-%d", f.Owner, f.count)
	m.Subject = f.Subject
	if m.Header == nil {
		m.Header = nats.Header{}
	}
	m.Header.Set(ownerHeader, mark)
	p := NewPatience(f.Patience)
	for {
		err := f.try(ctx, m)
		if err == nil {
			return nil
		}
		if !Unknown(err) && !WrongSequence(err) {
			return fmt.Errorf("publishing to %q: %w", f.Subject, err)
		}
		if done, err := f.lookBack(ctx, mark); done || err != nil {
			return err
		}
		// Nobody wrote: a refusal of a replicated stream without a rival, or no
		// answer. A late first try and this one cannot both be stored, since both
		// expect the same sequence.
		if err := p.Again(ctx, err); err != nil {
			return fmt.Errorf("publishing to %q: %w", f.Subject, err)
		}
	}
}

func (f *Fence) try(ctx context.Context, m *nats.Msg) error {
	ctx, cancel := context.WithTimeout(ctx, CallTimeout)
	defer cancel()
	ack, err := f.JS.PublishMsg(ctx, Follows(m, f.Seq))
	if err == nil {
		f.Seq = ack.Sequence
	}
	return err
}

// lookBack reports whether the message with that mark is stored after all.
func (f *Fence) lookBack(ctx context.Context, mark string) (bool, error) {
	m, err := f.Last(ctx, f.Subject)
	switch {
	case err != nil:
		return false, err
	case m == nil && f.Seq == 0, m != nil && m.Sequence == f.Seq:
		return false, nil
	case m != nil && m.Header.Get(ownerHeader) == mark:
		f.Seq = m.Sequence
		return true, nil
	}
	return false, fmt.Errorf("publishing to %q: %w", f.Subject, ErrFenced)
}

// Follows has the server store the message only after the one at last on its subject,
// or as the first where last is 0.
func Follows(m *nats.Msg, last uint64) *nats.Msg {
	m.Header.Set(jetstream.ExpectedLastSubjSeqHeader, strconv.FormatUint(last, 10))
	return m
}
