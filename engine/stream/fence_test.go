package stream

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
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
	beside(t)
	l := open(t, embed(t, t.TempDir()))
	for i, plan := range []string{"", "l", "a", "r", "la", "al", "ll", "aa", "ra", "lr.a", "v"} {
		t.Run("plan "+plan, func(t *testing.T) {
			f := l.fence(l.alarms, fmt.Sprintf("telltale.alarm.%d", 100+i))
			other := l.fence(l.alarms, f.subject)
			f.js = &lossy{l.js, plan, func() {
				if _, err := other.read(t.Context()); err != nil {
					t.Fatal(err)
				}
				if err := other.publish(t.Context(), &nats.Msg{Data: []byte("rival")}); err != nil {
					t.Fatal(err)
				}
			}}
			want := []string{"1", "2", "3"}
			var err error
			for _, s := range want {
				if err = f.publish(t.Context(), &nats.Msg{Data: []byte(s)}); err != nil {
					break
				}
			}
			if plan == "v" {
				if !errors.Is(err, ErrFenced) {
					t.Errorf("got %v, want %v", err, ErrFenced)
				}
				want = []string{"rival"}
			} else if err != nil {
				t.Error(err)
			}
			var got []string
			err = l.each(t.Context(), l.alarms, f.subject, func(m jetstream.Msg, _ uint64) error {
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
	l := open(t, embed(t, t.TempDir()))
	f := l.fence(l.alarms, "telltale.alarm.0")
	f.patience = 0
	f.js = &lossy{JetStream: l.js, plan: "llllllll"}
	err := f.publish(t.Context(), &nats.Msg{Data: []byte("1")})
	const want = `publishing to "telltale.alarm.0": nats: timeout (is the disk full, or the server down?)`
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}
