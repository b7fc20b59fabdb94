package stream

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// callTimeout bounds each call to the server. A longer context would otherwise
// replace the library's default, and the call hang while there is no leader.
const callTimeout = 5 * time.Second

// unknown reports whether nobody can say if the call took effect, or the server
// could not serve it for the moment.
func unknown(err error) bool {
	var api *jetstream.APIError
	if errors.As(err, &api) {
		return api.Code == 503
	}
	for _, e := range []error{context.DeadlineExceeded, nats.ErrTimeout, nats.ErrNoResponders, nats.ErrDisconnected,
		nats.ErrReconnectBufExceeded, jetstream.ErrNoStreamResponse, jetstream.ErrAsyncPublishTimeout, jetstream.ErrTooManyStalledMsgs} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// wrongSequence reports whether the expected last sequence was not the last.
func wrongSequence(err error) bool {
	var api *jetstream.APIError
	return errors.As(err, &api) && (api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequence ||
		api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequenceConstant)
}

// patience is how long to go on asking a server that does not answer.
type patience struct {
	until time.Time
	wait  time.Duration
}

func newPatience(d time.Duration) *patience {
	return &patience{until: time.Now().Add(d), wait: 50 * time.Millisecond}
}

// again waits a little, longer each time. It returns the cause once patience or
// the context is at its end.
func (p *patience) again(ctx context.Context, cause error) error {
	if time.Now().After(p.until) {
		return fmt.Errorf("%w (is the disk full, or the server down?)", cause)
	}
	t := time.NewTimer(p.wait)
	defer t.Stop()
	p.wait = min(2*p.wait, 2*time.Second)
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return errors.Join(cause, ctx.Err())
	}
}

// ask makes a call that may be repeated, until it is answered or patience ends.
func ask[T any](ctx context.Context, d time.Duration, f func(context.Context) (T, error)) (T, error) {
	p := newPatience(d)
	for {
		c, cancel := context.WithTimeout(ctx, callTimeout)
		v, err := f(c)
		cancel()
		if err == nil || !unknown(err) {
			return v, err
		}
		if err := p.again(ctx, err); err != nil {
			return v, err
		}
	}
}
