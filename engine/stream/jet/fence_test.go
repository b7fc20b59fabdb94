package jet_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
)

// lossy breaks publishes: each letter of plan is what happens to the next one.
type lossy struct {
	jetstream.JetStream
	plan string
	// rival, where set, publishes in between.
	rival func()
}

func (l *lossy) PublishMsg(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	what := byte('.')
	if l.plan != "" {
		what, l.plan = l.plan[0], l.plan[1:]
	}
	switch what {
	case 'l': // lost on the way in
		return nil, nats.ErrTimeout
	case 'a': // stored, and the acknowledgement lost
		if _, err := l.JetStream.PublishMsg(ctx, m, opts...); err != nil {
			return nil, err
		}
		return nil, nats.ErrTimeout
	case 'r': // refused though nobody wrote, as replicated streams do at times
		return nil, &jetstream.APIError{Code: 400, ErrorCode: jetstream.JSErrCodeStreamWrongLastSequenceConstant}
	case 'v': // a rival is faster
		l.rival()
	}
	return l.JetStream.PublishMsg(ctx, m, opts...)
}

// TestFence breaks the writes of an owner in every way and looks whether each
// message is there once, in order.
func TestFence(t *testing.T) {
	stream := open(t)
	for i, plan := range []string{"", "l", "a", "r", "la", "al", "ll", "aa", "ra", "lr.a", "v"} {
		t.Run("plan "+plan, func(t *testing.T) {
			f := stream.Fence(fmt.Sprintf("telltale.alarm.%d", 100+i))
			other := stream.Fence(f.Subject)
			f.Stream = through(stream, &lossy{stream.JS, plan, func() {
				if _, err := other.Latest(t.Context()); err != nil {
					t.Fatal(err)
				}
				if err := other.Publish(t.Context(), &nats.Msg{Data: []byte("rival")}); err != nil {
					t.Fatal(err)
				}
			}}, stream.Patience)
			want := []string{"1", "2", "3"}
			var err error
			for _, s := range want {
				if err = f.Publish(t.Context(), &nats.Msg{Data: []byte(s)}); err != nil {
					break
				}
			}
			if plan == "v" {
				if !errors.Is(err, jet.ErrFenced) {
					t.Errorf("got %v, want %v", err, jet.ErrFenced)
				}
				want = []string{"rival"}
			} else if err != nil {
				t.Error(err)
			}
			var got []string
			err = stream.Each(t.Context(), 1, f.Subject, func(m jetstream.Msg, _ uint64) error {
				got = append(got, string(m.Data()))
				return nil
			})
			if err != nil || !slices.Equal(got, want) {
				t.Errorf("stored %q (%v), want %q", got, err, want)
			}
		})
	}
}

// TestFenceGivesUp has no publish answered: the error says that the outcome is
// not known, and comes once patience is at its end.
func TestFenceGivesUp(t *testing.T) {
	stream := open(t)
	f := stream.Fence("telltale.alarm.0")
	f.Stream = through(stream, &lossy{JetStream: stream.JS, plan: "llllllll"}, 0)
	err := f.Publish(t.Context(), &nats.Msg{Data: []byte("1")})
	const want = `publishing to "telltale.alarm.0": nats: timeout (is the disk full, or the server down?)`
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

// open is a stream on a server of its own.
func open(t *testing.T) *jet.Stream {
	t.Helper()
	srv := servertest.Embed(t, t.TempDir())
	js, err := jetstream.New(srv.Conn())
	if err != nil {
		t.Fatal(err)
	}
	s, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: "ALARMS", Subjects: []string{"telltale.alarm.*"}})
	if err != nil {
		t.Fatal(err)
	}
	return &jet.Stream{JS: js, S: s, Patience: 2 * time.Second}
}

// through is the stream with what is written to it going through js.
func through(s *jet.Stream, js jetstream.JetStream, patience time.Duration) *jet.Stream {
	return &jet.Stream{JS: js, S: s.S, Patience: patience}
}
