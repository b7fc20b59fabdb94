package stream

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/micro"
	"github.com/nats-io/nuid"

	"telltale/engine"
)

// page is one reply of several; the last one has no more.
type page[T any] struct {
	Items []T  `json:"items"`
	More  bool `json:"more,omitempty"`
	// Unanswered are partitions whose vehicles the whole list lacks.
	Unanswered []int `json:"unanswered,omitempty"`
}

const (
	querySubject = "telltale.query"
	// pageBytes is how long a page may be.
	pageBytes = 400 << 10
)

// Answer lets the service answer requests on telltale.query.due, .alarms, .why,
// .samples, .history, .register, .known, .baselines, .unregistered, .refused and .health: for all partitions, whichever
// replica is asked. A list comes in as many replies as it needs. More endpoints can
// be added to what it returns, which must be stopped before the service.
func (s *Service) Answer() (micro.Service, error) {
	m, err := micro.AddService(s.log.nc, micro.Config{Name: "telltale", Version: "1.0.0", Description: "due lists and alarms of a fleet"})
	if err != nil {
		return nil, fmt.Errorf("answering requests: %w", err)
	}
	g := m.AddGroup(querySubject)
	for name, h := range map[string]func(micro.Request, question) error{
		"due":    gathered(s.due),
		"alarms": gathered(s.alarms),
		"why":    gathered(func(ctx context.Context, q question) ([]engine.Why, error) { return s.Why(ctx, q.Vehicle, q.Rule) }),
		"samples": gathered(func(ctx context.Context, q question) ([]engine.Verdict, error) {
			return s.Verdicts(ctx, q.Vehicle, q.Component)
		}),
		"baselines":    s.answerBaselines,
		"history":      gathered(s.history),
		"register":     gathered(s.register),
		"known":        gathered(s.known),
		"unregistered": gathered(func(ctx context.Context, _ question) ([]string, error) { return s.Unregistered(ctx) }),
		"refused":      s.answerRefused,
		"health":       func(r micro.Request, _ question) error { return r.RespondJSON(s.HealthOfAll(context.Background())) },
	} {
		if err := g.AddEndpoint(name, micro.HandlerFunc(answer(h))); err != nil {
			return nil, errors.Join(fmt.Errorf("answering requests for %s: %w", name, err), m.Stop())
		}
	}
	return m, nil
}

// gathered answers with a list from all partitions, or with what there is of it.
func gathered[T any](list func(context.Context, question) ([]T, error)) func(micro.Request, question) error {
	return func(r micro.Request, q question) error {
		items, err := list(context.Background(), q)
		if i := (*Incomplete)(nil); errors.As(err, &i) {
			return reply(r, items, i.Partitions)
		}
		if err != nil {
			return err
		}
		return Reply(r, items)
	}
}

func answer(h func(micro.Request, question) error) func(micro.Request) {
	return func(r micro.Request) {
		var q question
		if len(r.Data()) > 0 {
			if err := json.Unmarshal(r.Data(), &q); err != nil {
				r.Error("400", "reading the question: "+err.Error(), nil)
				return
			}
		}
		if err := h(r, q); err != nil {
			r.Error("500", err.Error(), nil)
		}
	}
}

func (s *Service) answerRefused(r micro.Request, q question) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	var out []engine.Refusal
	err := s.log.Refused(ctx, func(f engine.Refusal) error {
		if q.Vehicle == "" || q.Vehicle == f.Vehicle {
			out = append(out, f)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return Reply(r, out)
}

// Reply answers a request with a list, in pages that fit into messages. List
// reads them.
func Reply[T any](r micro.Request, items []T) error { return reply(r, items, nil) }

// answerHeader is the same on all replies of one answer: a question may be answered
// twice.
const answerHeader = "Telltale-Answer"

func reply[T any](r micro.Request, items []T, unanswered []int) error {
	mark := micro.WithHeaders(micro.Headers{answerHeader: {nuid.Next()}})
	raw, size := []json.RawMessage{}, 0
	for _, it := range items {
		b, err := marshal(it)
		if err != nil {
			return err
		}
		if size+len(b) > pageBytes && len(raw) > 0 {
			if err := r.RespondJSON(page[json.RawMessage]{Items: raw, More: true}, mark); err != nil {
				return err
			}
			raw, size = raw[:0], 0
		}
		raw, size = append(raw, b), size+len(b)+1
	}
	return r.RespondJSON(page[json.RawMessage]{Items: raw, Unanswered: unanswered}, mark)
}
