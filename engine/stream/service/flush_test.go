package service

import (
	"sync/atomic"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// stalling lets so many writes through and then says of each that too many wait for
// their acknowledgement already.
type stalling struct {
	jetstream.JetStream
	through atomic.Int64
}

func (s *stalling) PublishMsgAsync(m *nats.Msg, opts ...jetstream.PublishOpt) (jetstream.PubAckFuture, error) {
	if s.through.Add(-1) < 0 {
		return nil, jetstream.ErrTooManyStalledMsgs
	}
	return s.JetStream.PublishMsgAsync(m, opts...)
}

// TestWritesThatStall has a machine so busy that writes are not sent: the records are
// written all the same, and the service goes on.
func TestWritesThatStall(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 16)
	l := open(t, servertest.Embed(t, t.TempDir()))
	slow := &stalling{JetStream: l.JS}
	slow.through.Store(10)
	writer := through(l, slow)
	s := run(t, writer, quiet)
	begin(t, l)
	days(t, l, 1, 10)
	caughtUp(t, s)
	stop(t, s)
	s = run(t, l, quiet)
	caughtUp(t, s)
	for _, p := range s.Health().Partitions {
		if p.Events != 0 {
			t.Errorf("partition %d folds %d events again, want none", p.Partition, p.Events)
		}
	}
	days(t, l, 10, 16)
	caughtUp(t, s)
	same(t, "said", saidLines(t, l), want)
}

// TestFarBehindWritesSeldom: a fold that is far behind leaves out five of six times to
// write, one that is not writes each time.
func TestFarBehindWritesSeldom(t *testing.T) {
	w := &worker{}
	for _, lag := range []uint64{0, 1000, 1001, 50_000} {
		w.seen.lag = lag
		var wrote []bool
		for range 12 {
			wrote = append(wrote, w.writesNow())
		}
		at := func(n int) bool { return lag <= 1000 || n%6 == 5 }
		for n, now := range wrote {
			if now != at(n) {
				t.Errorf("%d behind: wrote %v", lag, wrote)
				break
			}
		}
	}
}

// through is a log of which all that is written goes through js.
func through(l *stream.Log, js jetstream.JetStream) *stream.Log {
	c := *l
	c.JS = js
	for _, s := range []**jet.Stream{&c.Events, &c.Alarms, &c.State, &c.Books} {
		*s = &jet.Stream{JS: js, S: (*s).S, Patience: (*s).Patience}
	}
	return &c
}
