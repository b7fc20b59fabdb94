package jet

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// CallTimeout bounds each call to the server. A longer context would otherwise
// replace the library's default, and the call hang while there is no leader.
const CallTimeout = 5 * time.Second

// Unknown reports whether nobody can say if the call took effect, or the server
// could not serve it for the moment.
func Unknown(err error) bool {
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

// WrongSequence reports whether the expected last sequence was not the last.
func WrongSequence(err error) bool {
	var api *jetstream.APIError
	return errors.As(err, &api) && (api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequence ||
		api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequenceConstant)
}

// Patience is how long to go on asking a server that does not answer.
type Patience struct {
	until time.Time
	wait  time.Duration
}

// NewPatience lasts for d from now.
func NewPatience(d time.Duration) *Patience {
	return &Patience{until: time.Now().Add(d), wait: 50 * time.Millisecond}
}

// Again waits a little, longer each time. It returns the cause once patience or
// the context is at its end.
func (p *Patience) Again(ctx context.Context, cause error) error {
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

// Ask makes a call that may be repeated, until it is answered or patience, which
// lasts for d, ends.
func Ask[T any](ctx context.Context, d time.Duration, f func(context.Context) (T, error)) (T, error) {
	p := NewPatience(d)
	for {
		c, cancel := context.WithTimeout(ctx, CallTimeout)
		v, err := f(c)
		cancel()
		if err == nil || !Unknown(err) {
			return v, err
		}
		if err := p.Again(ctx, err); err != nil {
			return v, err
		}
	}
}

// Rest waits for d, or for the end of the context.
func Rest(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
