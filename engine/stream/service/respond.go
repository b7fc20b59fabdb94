package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go/micro"

	"telltale/engine/stream/answer"
	"telltale/rules/unit"
)

const (
	querySubject = "telltale.query"
	// respondWithin bounds how long a list may take, within what who asks waits for.
	respondWithin = 50 * time.Second
)

// Respond lets the service respond to requests on telltale.query.<inquiry>, and on
// .health: for all partitions, whichever replica is asked. A list comes in as many
// replies as it needs. More endpoints can be added to what it returns, which must be
// stopped before the service.
func (s *Service) Respond() (micro.Service, error) {
	to := map[string]handler{}
	for name, respond := range public {
		to[name] = func(ctx context.Context, r micro.Request, q Question) error { return respond(ctx, s, r, q) }
	}
	m, err := s.respondTo(querySubject, to, micro.Config{Name: "telltale", Version: "1.0.0", Description: "due lists and alarms of a fleet"})
	if err != nil {
		return nil, err
	}
	if err := m.AddGroup(querySubject).AddEndpoint("health", Outside(s.respondHealth)); err != nil {
		return nil, errors.Join(fmt.Errorf("responding to requests on %s.health: %w", querySubject, err), m.Stop())
	}
	return m, nil
}

// Outside handles requests but those whose answer would go to a subject of the service or
// of the server: it would be written there by our rights, whatever those of whoever asks.
func Outside(handle micro.HandlerFunc) micro.HandlerFunc {
	return func(r micro.Request) {
		if to := r.Reply(); !strings.HasPrefix(to, "telltale.") && !strings.HasPrefix(to, "$") {
			handle(r)
		}
	}
}

func (s *Service) respondHealth(r micro.Request) {
	q, ok := questionOf(r)
	if !ok {
		return
	}
	ctx, cancel := context.WithTimeout(s.life, respondWithin)
	defer cancel()
	_ = r.RespondJSON(s.HealthFor(ctx, q)) // whoever asked is gone where this fails
}

// respondPart lets other replicas ask a partition that is folded here. All who
// listen get the question: one that was stopped and is missed by nobody yet keeps
// it from no other.
func (s *Service) respondPart(w *worker) (micro.Service, error) {
	to := map[string]handler{}
	for name, respond := range parted {
		to[name] = func(_ context.Context, r micro.Request, q Question) error { return respond(w, r, q) }
		to[name+seeing] = to[name]
	}
	return s.respondTo(partSubject(w.p), to, micro.Config{
		QueueGroupDisabled: true,
		Name:               "telltale-partition", Version: "1.0.0", Description: "one partition of the vehicles",
		Metadata: map[string]string{"partition": fmt.Sprint(w.p), "owner": s.id},
	})
}

// handler responds to one kind of request.
type handler func(context.Context, micro.Request, Question) error

// respondTo has the requests under a subject handled, by the names behind it.
func (s *Service) respondTo(subject string, to map[string]handler, c micro.Config) (micro.Service, error) {
	m, err := micro.AddService(s.log.Conn, c)
	if err != nil {
		return nil, fmt.Errorf("responding to requests on %s: %w", subject, err)
	}
	g := m.AddGroup(subject)
	for name, handle := range to {
		if err := g.AddEndpoint(name, s.within(handle)); err != nil {
			return nil, errors.Join(fmt.Errorf("responding to requests on %s.%s: %w", subject, name, err), m.Stop())
		}
	}
	return m, nil
}

// within has a request read, and answered in its time.
func (s *Service) within(handle handler) micro.Handler {
	return Outside(func(r micro.Request) {
		if q, ok := questionOf(r); ok {
			s.answer(r, q, handle)
		}
	})
}

// questionOf is what is asked; where that cannot be read, whoever asks is told so.
func questionOf(r micro.Request) (q Question, ok bool) {
	if len(r.Data()) == 0 {
		return q, true
	}
	err := json.Unmarshal(r.Data(), &q)
	if err != nil {
		_ = r.Error("400", "reading the question: "+err.Error(), nil) // whoever asked is gone where this fails
	}
	return q, err == nil
}

// respond replies with the list from all partitions, or with what there is of it.
func (in *Inquiry[T]) respond(ctx context.Context, s *Service, r micro.Request, q Question) error {
	var list []T
	if err := q.heed(s.cfg.Reads); err != nil {
		return err
	}
	var err error
	if q.Vehicle, err = s.meant(ctx, q); err == nil {
		list, err = in.Of(ctx, s, q)
	}
	if i := (*Incomplete)(nil); errors.As(err, &i) {
		return answer.Reply(r, list, i.Partitions)
	}
	if err != nil {
		return err
	}
	return Reply(r, list)
}

// heed completes the units of a question that comes from outside by those in which people
// read of the fleet.
func (q *Question) heed(fleet unit.System) error {
	own, err := unit.SystemOf(q.Units)
	if err != nil {
		return fmt.Errorf("units: %w", err)
	}
	q.Based = q.Units == nil
	if !q.Based {
		q.Units = own.Or(fleet).Names()
	}
	return nil
}

func (in *Inquiry[T]) respondPart(w *worker, r micro.Request, q Question) error {
	list, err := in.ask(w, q)
	if err != nil {
		return err
	}
	return Reply(r, list)
}

// Reply answers a request with a list, in pages that fit into messages. List
// reads them.
func Reply[T any](r micro.Request, items []T) error { return answer.Reply(r, items, nil) }

// answer has a question handled in its time, while the handler of its endpoint goes on with
// the next. One that is asked again while it is in work is in work once.
func (s *Service) answer(r micro.Request, q Question, handle handler) {
	if _, again := s.atWork.LoadOrStore(r.Reply(), true); again {
		return
	}
	l := answer.LaterOf(r, s.log.Conn)
	go func() {
		defer s.atWork.Delete(r.Reply())
		ctx, cancel := context.WithTimeout(s.life, respondWithin)
		defer cancel()
		go l.AtIt(ctx)
		if err := handle(ctx, l, q); err != nil {
			_ = l.Error("500", err.Error(), nil) // whoever asked is gone where this fails
		}
	}()
}
