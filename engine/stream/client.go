package stream

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
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

// QueryDue asks a running service for its due list.
func QueryDue(ctx context.Context, nc *nats.Conn, q engine.DueQuery) ([]engine.DueItem, error) {
	return List[engine.DueItem](ctx, nc, "due", question{Vehicle: q.Vehicle, Ahead: q.Ahead, Tag: q.Tag, On: q.On})
}

// QueryAlarms asks a running service for what stands, of one vehicle or, where it
// is empty, of all.
func QueryAlarms(ctx context.Context, nc *nats.Conn, vehicle string) ([]engine.Standing, error) {
	return List[engine.Standing](ctx, nc, "alarms", question{Vehicle: vehicle})
}

// QueryWhy asks a running service why a rule or task of a vehicle stands as it
// does; of all where rule is empty.
func QueryWhy(ctx context.Context, nc *nats.Conn, vehicle, rule string) ([]engine.Why, error) {
	return List[engine.Why](ctx, nc, "why", question{Vehicle: vehicle, Rule: rule})
}

// QuerySamples asks a running service what the latest sample of a component of a
// vehicle says; of each where component is empty.
func QuerySamples(ctx context.Context, nc *nats.Conn, vehicle, component string) ([]engine.Verdict, error) {
	return List[engine.Verdict](ctx, nc, "samples", question{Vehicle: vehicle, Component: component})
}

// QueryRefused asks a running service for the events that it could not use.
func QueryRefused(ctx context.Context, nc *nats.Conn, vehicle string) ([]engine.Refusal, error) {
	return List[engine.Refusal](ctx, nc, "refused", question{Vehicle: vehicle})
}

// QueryHealth asks a running service how it stands.
func QueryHealth(ctx context.Context, nc *nats.Conn) (h Health, err error) {
	err = request(ctx, nc, querySubject+".health", nil, func(b []byte) (bool, error) { return false, json.Unmarshal(b, &h) })
	return h, err
}

// askAgain is how long a question waits for its first reply before it is asked once
// more: the replica that it was handed to may have been stopped.
const askAgain = time.Second

// request takes the replies of one answer until one says that it is the last. Each
// must come within a minute.
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
	if strings.HasPrefix(subject, "telltale.part.") { // it may be on its way from one to another
		every /= 2
	}
	m, err := firstReply(ctx, sub, every, func() error { return nc.PublishRequest(subject, inbox, data) })
	mark := ""
	if err == nil {
		mark = m.Header.Get(answerHeader)
	}
	for ; ; m, err = nextReply(ctx, sub, time.Minute) {
		if err != nil {
			return fmt.Errorf("asking for %s: %w", of, err)
		}
		if m.Header.Get(answerHeader) != mark {
			continue // another answer to the same question
		}
		more, err := take(m.Data)
		if err != nil {
			return fmt.Errorf("reading the answer for %s: %w", of, err)
		}
		if !more {
			return nil
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
