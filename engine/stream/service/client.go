package service

import (
	"context"
	"encoding/json"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/stream/answer"
)

// ErrNoService says that NATS answers and no service behind it.
var ErrNoService = answer.ErrNoService

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
		var p answer.Page[T]
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

func request(ctx context.Context, nc *nats.Conn, subject string, question any, take func([]byte) (more bool, err error)) error {
	every := answer.AskAgain
	switch {
	case strings.HasPrefix(subject, "telltale.part."): // it may be on its way from one to another
		every /= 2
	case strings.HasSuffix(subject, ".health"): // which waits for partitions itself, and says nothing meanwhile
		every += answerWithin
	}
	return answer.Ask(ctx, nc, answer.Question{Subject: subject, Content: question, Again: every}, take)
}
