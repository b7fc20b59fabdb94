package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine"
)

// ErrNoService says that NATS answers and no service behind it.
var ErrNoService = errors.New("no telltale service answers")

// List asks a running service for a list on telltale.query.<of> and puts its
// pages together. question may be nil. Where partitions did not answer, what there
// is comes with an *Incomplete.
func List[T any](ctx context.Context, nc *nats.Conn, of string, question any) ([]T, error) {
	return listOn[T](ctx, nc, querySubject+"."+of, question)
}

func listOn[T any](ctx context.Context, nc *nats.Conn, subject string, question any) ([]T, error) {
	var out []T
	var missing []int
	err := request(ctx, nc, subject, question, func(b []byte) (more bool, err error) {
		var p page[T]
		if err := json.Unmarshal(b, &p); err != nil {
			return false, err
		}
		out, missing = append(out, p.Items...), append(missing, p.Unanswered...)
		return p.More, nil
	})
	if err == nil && missing != nil {
		err = &Incomplete{missing}
	}
	return out, err
}

// knownAtOnce is how many events are asked after in one request.
const knownAtOnce = 500

// QueryKnown asks a service which of some events of a vehicle it holds already, and with
// which content.
func QueryKnown(ctx context.Context, at At, vehicle string, events []engine.KnownEvent) ([]engine.KnownEvent, error) {
	var out []engine.KnownEvent
	for some := range slices.Chunk(events, knownAtOnce) {
		part, err := Known.From(ctx, at, Question{Vehicle: vehicle, Events: some})
		if err != nil {
			return nil, err
		}
		out = append(out, part...)
	}
	return out, nil
}

// QueryHealth asks a running service how it stands.
func QueryHealth(ctx context.Context, nc *nats.Conn) (h Health, err error) {
	err = request(ctx, nc, querySubject+".health", nil, func(b []byte) (bool, error) { return false, json.Unmarshal(b, &h) })
	return h, err
}

const (
	// askAgain is how long a question waits for its first reply before it is asked once
	// more: the replica that it was handed to may have been stopped.
	askAgain = time.Second
	// stoppedAfter is how long one that has said that it is at it may be silent before it
	// is taken to have been stopped.
	stoppedAfter = 6 * atItEvery
	// moreWithin is how long a page may come after the one before.
	moreWithin = time.Minute
)

// request takes the replies of one answer until one says that it is the last.
func request(ctx context.Context, nc *nats.Conn, subject string, question any, take func([]byte) (more bool, err error)) error {
	of := subject[strings.LastIndexByte(subject, '.')+1:]
	data, err := json.Marshal(question)
	if err != nil {
		return fmt.Errorf("asking for %s: %w", of, err)
	}
	inbox := nc.NewRespInbox()
	sub, err := nc.SubscribeSync(inbox)
	if err != nil {
		return fmt.Errorf("asking for %s: %w", of, err)
	}
	defer sub.Unsubscribe()
	every := askAgain
	switch {
	case strings.HasPrefix(subject, "telltale.part."): // it may be on its way from one to another
		every /= 2
	case of == "health": // which waits for partitions itself, and says nothing meanwhile
		every += answerWithin
	}
	ask := func() (*nats.Msg, error) {
		return firstReply(ctx, sub, every, func() error { return nc.PublishRequest(subject, inbox, data) })
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
		if !begun && m.Header.Get(atItHeader) == "" {
			mark, begun, within = m.Header.Get(replyHeader), true, moreWithin
		}
		if begun && m.Header.Get(atItHeader) == "" && m.Header.Get(replyHeader) == mark { // not another answer to the same question
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
