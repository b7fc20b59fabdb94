package stream

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine"
)

// Health is how the service stands.
type Health struct {
	Program string `json:"program,omitempty"`
	// Now is the last tick that every partition has folded, Book the hash of the
	// book in force.
	Now        time.Time         `json:"now,omitzero"`
	Book       string            `json:"book,omitempty"`
	Ready      bool              `json:"ready"` // all partitions have folded what the log held at the start
	Partitions []PartitionHealth `json:"partitions"`
}

// PartitionHealth is how one partition stands. The counts are since the start.
type PartitionHealth struct {
	Partition   int    `json:"partition"`
	Seq         uint64 `json:"seq"` // of the last event folded
	Vehicles    int    `json:"vehicles"`
	Events      int    `json:"events"`
	Transitions int    `json:"transitions"`
	Refused     int    `json:"refused"`
	NotJudged   int    `json:"notJudged"`
	// Stages counts the transitions by the stage they lead to, Reasons the refusals
	// by what was wrong: malformed, forged, future, conflict, fault or inapplicable.
	Stages  map[string]int `json:"stages,omitempty"`
	Reasons map[string]int `json:"reasons,omitempty"`
	// Lag is how many events waited behind the last one folded; Saved is when the
	// checkpoint was written last, by the wall, or the partition loaded.
	Lag   uint64    `json:"lag"`
	Saved time.Time `json:"saved,omitzero"`
	Fault string    `json:"fault,omitempty"` // why it ended
}

// Due is the due list over all partitions, ordered by what to do first.
func (s *Service) Due(q engine.DueQuery) []engine.DueItem {
	out := gather(s, func(p *engine.Partition) []engine.DueItem { return p.Due(q) })
	engine.SortDue(out)
	return out
}

// Alarms lists what stands, in order of vehicle, rule and component.
func (s *Service) Alarms() []engine.Standing {
	out := gather(s, (*engine.Partition).Alarms)
	slices.SortStableFunc(out, func(a, b engine.Standing) int {
		return cmp.Or(strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Rule, b.Rule), strings.Compare(a.Component, b.Component))
	})
	return out
}

// Why tells why a rule or task of a vehicle stands as it does; of all where rule is empty.
func (s *Service) Why(vehicle, rule string) []engine.Why {
	return gather(s, func(p *engine.Partition) []engine.Why { return p.Why(vehicle, rule) })
}

// Verdicts reads the latest sample of a component of a vehicle; of each where
// component is empty.
func (s *Service) Verdicts(vehicle, component string) []engine.Verdict {
	return gather(s, func(p *engine.Partition) []engine.Verdict { return p.Verdicts(vehicle, component) })
}

// Unregistered lists the vehicles whose events are kept but not judged because
// nobody registered them.
func (s *Service) Unregistered() []string {
	out := gather(s, (*engine.Partition).Unregistered)
	slices.Sort(out)
	return out
}

// gather asks each partition in turn, between two of its events.
func gather[T any](s *Service, ask func(*engine.Partition) []T) []T {
	var out []T
	for _, w := range s.workers {
		w.mu.Lock()
		out = append(out, ask(w.fold)...)
		w.mu.Unlock()
	}
	return out
}

// Health says how the service stands.
func (s *Service) Health() Health {
	h := Health{Program: s.cfg.Program, Ready: true}
	for i, w := range s.workers {
		w.mu.Lock()
		p := PartitionHealth{Partition: w.p, Seq: w.at.Seq, Vehicles: w.vehicles, Events: w.seen.events,
			Transitions: w.seen.transitions, Refused: w.seen.refused, NotJudged: w.seen.notJudged,
			Stages: maps.Clone(w.seen.stages), Reasons: maps.Clone(w.seen.reasons), Lag: w.seen.lag, Saved: w.saved}
		if w.failed != nil {
			p.Fault = w.failed.Error()
		}
		now, book := w.fold.Now(), w.fold.Book()
		h.Ready = h.Ready && w.at.Seq >= w.target && w.failed == nil
		w.mu.Unlock()
		if i == 0 || now.Before(h.Now) {
			h.Now = now
		}
		if book != nil {
			h.Book = book.Hash
		}
		h.Partitions = append(h.Partitions, p)
	}
	return h
}

// question is what may be asked, as JSON; an empty request asks for everything.
type question struct {
	Vehicle string `json:"vehicle,omitempty"`
	Ahead   int    `json:"ahead,omitempty"` // days
	Tag     string `json:"tag,omitempty"`   // as depot=north
	On      string `json:"on,omitempty"`    // YYYY-MM-DD
	Rule    string `json:"rule,omitempty"`
	// Component is of a question about samples.
	Component string `json:"component,omitempty"`
}

// page is one reply of several; the last one has no more.
type page[T any] struct {
	Items []T  `json:"items"`
	More  bool `json:"more,omitempty"`
}

const (
	querySubject = "telltale.query"
	// pageBytes is how long a page may be.
	pageBytes = 400 << 10
)

// Answer lets the service answer requests on telltale.query.due, .alarms, .why,
// .samples, .unregistered, .refused and .health. A list comes in as many replies as it
// needs. More endpoints can be added to what it returns, which must be stopped
// before the service.
func (s *Service) Answer() (micro.Service, error) {
	m, err := micro.AddService(s.log.nc, micro.Config{Name: "telltale", Version: "1.0.0", Description: "due lists and alarms of a fleet"})
	if err != nil {
		return nil, fmt.Errorf("answering requests: %w", err)
	}
	g := m.AddGroup(querySubject)
	for name, h := range map[string]func(micro.Request, question) error{
		"due": func(r micro.Request, q question) error {
			return Reply(r, s.Due(engine.DueQuery{Vehicle: q.Vehicle, Ahead: q.Ahead, Tag: q.Tag, On: q.On}))
		},
		"alarms": func(r micro.Request, q question) error {
			return Reply(r, slices.DeleteFunc(s.Alarms(), func(a engine.Standing) bool { return q.Vehicle != "" && a.Vehicle != q.Vehicle }))
		},
		"why":          func(r micro.Request, q question) error { return Reply(r, s.Why(q.Vehicle, q.Rule)) },
		"samples":      func(r micro.Request, q question) error { return Reply(r, s.Verdicts(q.Vehicle, q.Component)) },
		"unregistered": func(r micro.Request, _ question) error { return Reply(r, s.Unregistered()) },
		"refused":      s.answerRefused,
		"health":       func(r micro.Request, _ question) error { return r.RespondJSON(s.Health()) },
	} {
		if err := g.AddEndpoint(name, micro.HandlerFunc(answer(h))); err != nil {
			return nil, errors.Join(fmt.Errorf("answering requests for %s: %w", name, err), m.Stop())
		}
	}
	return m, nil
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
func Reply[T any](r micro.Request, items []T) error {
	raw, size := []json.RawMessage{}, 0
	for _, it := range items {
		b, err := marshal(it)
		if err != nil {
			return err
		}
		if size+len(b) > pageBytes && len(raw) > 0 {
			if err := r.RespondJSON(page[json.RawMessage]{raw, true}); err != nil {
				return err
			}
			raw, size = raw[:0], 0
		}
		raw, size = append(raw, b), size+len(b)+1
	}
	return r.RespondJSON(page[json.RawMessage]{Items: raw})
}

// ErrNoService says that NATS answers and no service behind it.
var ErrNoService = errors.New("no telltale service answers")

// List asks a running service for a list on telltale.query.<of> and puts its
// pages together. question may be nil.
func List[T any](ctx context.Context, nc *nats.Conn, of string, question any) ([]T, error) {
	var out []T
	err := request(ctx, nc, of, question, func(b []byte) (more bool, err error) {
		var p page[T]
		if err := json.Unmarshal(b, &p); err != nil {
			return false, err
		}
		out = append(out, p.Items...)
		return p.More, nil
	})
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
	err = request(ctx, nc, "health", nil, func(b []byte) (bool, error) { return false, json.Unmarshal(b, &h) })
	return h, err
}

// request takes replies until one says that it is the last. Each must come within
// a minute.
func request(ctx context.Context, nc *nats.Conn, of string, question any, take func([]byte) (more bool, err error)) error {
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
	if err := nc.PublishRequest(querySubject+"."+of, inbox, data); err != nil {
		return fmt.Errorf("asking for %s: %w", of, err)
	}
	for {
		m, err := nextReply(ctx, sub)
		if err != nil {
			return fmt.Errorf("asking for %s: %w", of, err)
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

func nextReply(ctx context.Context, sub *nats.Subscription) (*nats.Msg, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
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
