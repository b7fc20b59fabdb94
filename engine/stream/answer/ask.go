package answer

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"
)

// ErrNoService says that NATS answers and no service behind it.
var ErrNoService = errors.New("no telltale service answers")

const (
	// AskAgain is how long a question waits for its first reply before it is asked once
	// more: the replica that it was handed to may have been stopped.
	AskAgain = time.Second
	// stoppedAfter is how long one that has said that it is at it may be silent before it
	// is taken to have been stopped.
	stoppedAfter = 6 * atItEvery
	// moreWithin is how long a page may come after the one before.
	moreWithin = time.Minute
)

// Question is one that is sent over NATS.
type Question struct {
	Subject string
	Content any // as JSON
	// Again is how long it waits for its first reply before it is asked once more.
	Again time.Duration
}

// Ask takes the replies of one answer until one says that it is the last.
func Ask(ctx context.Context, nc *nats.Conn, q Question, take func([]byte) (more bool, err error)) error {
	of := q.Subject[strings.LastIndexByte(q.Subject, '.')+1:]
	data, err := json.Marshal(q.Content)
	if err != nil {
		return fmt.Errorf("asking for %s: %w", of, err)
	}
	inbox := nc.NewRespInbox()
	sub, err := nc.SubscribeSync(inbox)
	if err != nil {
		return fmt.Errorf("asking for %s: %w", of, err)
	}
	defer sub.Unsubscribe()
	ask := func() (*nats.Msg, error) {
		return firstReply(ctx, sub, q.Again, func() error { return nc.PublishRequest(q.Subject, inbox, data) })
	}
	if err := pages(ctx, sub, ask, take); err != nil {
		return fmt.Errorf("asking for %s: %w", of, err)
	}
	return nil
}

// pages hands over the pages of the answer whose first one comes first. While nothing is
// said but that it is being made, the question is asked again if that is said no more.
func pages(ctx context.Context, sub *nats.Subscription, ask func() (*nats.Msg, error), take func([]byte) (more bool, err error)) error {
	mark, begun, within := "", false, stoppedAfter
	m, err := ask()
	for {
		if err != nil {
			return err
		}
		if !begun && m.Header.Get(AtIt) == "" {
			mark, begun, within = m.Header.Get(Header), true, moreWithin
		}
		if begun && m.Header.Get(AtIt) == "" && m.Header.Get(Header) == mark { // not another answer to the same question
			more, err := take(m.Data)
			if err != nil {
				return fmt.Errorf("reading the answer: %w", err)
			}
			if !more {
				return nil
			}
		}
		m, err = nextReply(ctx, sub, within)
		if !begun && errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
			m, err = ask()
		}
	}
}

// firstReply asks, and asks again while nothing comes.
func firstReply(ctx context.Context, sub *nats.Subscription, every time.Duration, ask func() error) (*nats.Msg, error) {
	for until := time.Now().Add(time.Minute); ; {
		if err := ask(); err != nil {
			return nil, err
		}
		m, err := nextReply(ctx, sub, every)
		if !errors.Is(err, context.DeadlineExceeded) || ctx.Err() != nil || time.Now().After(until) {
			return m, err
		}
	}
}

func nextReply(ctx context.Context, sub *nats.Subscription, within time.Duration) (*nats.Msg, error) {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	m, err := sub.NextMsgWithContext(ctx)
	switch {
	case errors.Is(err, nats.ErrNoResponders), err == nil && m.Header.Get("Status") == "503":
		return nil, ErrNoService
	case err != nil:
		return nil, err
	}
	if text := m.Header.Get(micro.ErrorHeader); text != "" {
		return nil, errors.New(text)
	}
	return m, nil
}
