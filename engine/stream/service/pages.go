package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/listing"
	"telltale/engine/stream"
	"telltale/engine/stream/answer"
)

// Listing is what of a question is about a list that comes in pages. See listing.Query and
// listing.VehicleQuery for each; Vehicle, Tag and Rule of the question go with it.
type Listing struct {
	View      listing.View  `json:"view,omitempty"`
	Stage     []alarm.Stage `json:"stage,omitempty"`
	Of        string        `json:"of,omitempty"`
	Q         string        `json:"q,omitempty"`
	Kind      string        `json:"kind,omitempty"`
	Person    string        `json:"person,omitempty"`
	Statutory bool          `json:"statutory,omitempty"`
	Aside     bool          `json:"aside,omitempty"`
	State     string        `json:"state,omitempty"`  // of Vehicles
	Silent    int           `json:"silent,omitempty"` // of Vehicles, days
	After     string        `json:"after,omitempty"`
	Before    string        `json:"before,omitempty"`
	Limit     int           `json:"limit,omitempty"`
	// Refs are the lines that one partition is asked for.
	Refs []listing.Ref `json:"refs,omitempty"`
}

func (q *Question) lines() listing.Query {
	return listing.Query{View: q.View, Stage: q.Stage, Of: q.Of, Tag: q.Tag, Q: q.Q, Kind: q.Kind, Rule: q.Rule, Vehicle: q.Vehicle,
		Person: q.Person, Statutory: q.Statutory, Aside: q.Aside, After: q.After, Before: q.Before, Limit: q.Limit}
}

func (q *Question) vehicles() listing.VehicleQuery {
	return listing.VehicleQuery{Q: q.Q, Tag: q.Tag, Kind: q.Kind, Person: q.Person, State: q.State, Silent: q.Silent,
		After: q.After, Before: q.Before, Limit: q.Limit}
}

// Pages is a list that a service can be asked for a page at a time. Its questions are quick
// however large the fleet is, and hold up neither each other nor the folding.
type Pages[T any] struct {
	name string
	of   func(context.Context, *Service, Question) (T, error)
}

// The lists that come in pages, on telltale.query.<name>, an item a page. A question that
// cannot be answered as it is asked gives a *listing.Fault.
var (
	// Lines is what stands, in order: one of listing.Views.
	Lines = paged("lines", linesPage)
	// Counts is how many lines each list has; one where View names it.
	Counts = paged("counts", countsOf)
	// Vehicles are those that are registered, by id.
	Vehicles = paged("vehicles", vehiclesPage)
)

// What a partition has of them.
var (
	lineParts = between(Inquiry[listing.Part]{"line-parts", (*worker).linePart, nil})
	lines     = between(Inquiry[listing.Line]{"line-refs",
		func(w *worker, q Question) []listing.Line { return w.asked(q).Lines(q.View, q.Refs) }, nil})
	countParts   = between(Inquiry[listing.Counted]{"count-parts", (*worker).countPart, nil})
	vehicleParts = between(Inquiry[listing.VehiclePart]{"vehicle-parts",
		func(w *worker, q Question) []listing.VehiclePart {
			return []listing.VehiclePart{w.fleet(q).VehiclePart(q.vehicles())}
		}, nil})
	vehicleLines = between(Inquiry[listing.Vehicle]{"vehicle-refs",
		func(w *worker, q Question) []listing.Vehicle { return w.asked(q).VehicleLines(q.Refs) }, nil})
)

func paged[T any](name string, of func(context.Context, *Service, Question) (T, error)) *Pages[T] {
	p := &Pages[T]{name, of}
	public[name] = p.respond
	return p
}

// Of is the page, over all partitions. Where some do not answer within 2 s, what there is
// comes with an *Incomplete.
func (p *Pages[T]) Of(ctx context.Context, s *Service, q Question) (T, error) { return p.of(ctx, s, q) }

// Ask asks a running service for the page, with an *Incomplete as Of.
func (p *Pages[T]) Ask(ctx context.Context, nc *nats.Conn, q Question) (page T, err error) {
	list, err := List[T](ctx, nc, p.name, q)
	if len(list) > 0 {
		page = list[0]
	} else if err == nil {
		err = fmt.Errorf("asking for %s: the answer has no page", p.name)
	}
	return page, err
}

// mostOverNATS is how many lines a page may have that goes into one message.
const mostOverNATS = 200

func (p *Pages[T]) respond(ctx context.Context, s *Service, r micro.Request, q Question) error {
	if err := q.heed(s.cfg.Reads); err != nil {
		return err
	}
	if q.Limit > mostOverNATS {
		return &listing.Fault{Field: "limit", Why: fmt.Sprintf("a page has 1 to %d lines", mostOverNATS)}
	}
	var err error
	if q.Vehicle, err = s.meant(ctx, q); err != nil {
		return err
	}
	page, err := p.of(ctx, s, q)
	if i := (*Incomplete)(nil); errors.As(err, &i) {
		return answer.Reply(r, []T{page}, i.Partitions)
	}
	if err != nil {
		return err
	}
	return Reply(r, []T{page})
}

func linesPage(ctx context.Context, s *Service, q Question) (listing.Page, error) {
	query := q.lines()
	if err := query.Check(); err != nil {
		return listing.Page{}, err
	}
	parts, missing := lineParts.Of(ctx, s, q)
	page, refs := listing.Merge(query, parts)
	list, err := gather(ctx, s, lines, q, refs)
	if page.Lines = inOrder(refs, list, func(l *listing.Line) string { return l.Key }); missing == nil {
		missing = err
	}
	return page, missing
}

func vehiclesPage(ctx context.Context, s *Service, q Question) (listing.VehiclePage, error) {
	query := q.vehicles()
	if err := query.Check(); err != nil {
		return listing.VehiclePage{}, err
	}
	parts, missing := vehicleParts.Of(ctx, s, q)
	page, refs := listing.MergeVehicles(query, parts)
	list, err := gather(ctx, s, vehicleLines, q, refs)
	if page.Vehicles = inOrder(refs, list, func(v *listing.Vehicle) string { return v.Vehicle }); missing == nil {
		missing = err
	}
	return page, missing
}

func countsOf(ctx context.Context, s *Service, q Question) ([]listing.Counted, error) {
	query := q.lines()
	if query.View == "" {
		query.View = listing.Due // any: all are asked for
	}
	if err := query.Check(); err != nil {
		return nil, err
	}
	parts, missing := countParts.Of(ctx, s, q)
	return listing.MergeCounts(parts), missing
}

func (w *worker) linePart(q Question) []listing.Part {
	a, query := w.fleet(q), q.lines()
	if q.View != listing.Postponed {
		return []listing.Part{a.Part(query)}
	}
	p := listing.PartOf(query, w.waiting(a))
	p.Now = a.Now()
	return []listing.Part{p}
}

func (w *worker) countPart(q Question) (out []listing.Counted) {
	a := w.fleet(q)
	for _, v := range listing.Views {
		query := q.lines()
		switch query.View = v; {
		case q.View != "" && q.View != v:
		case v == listing.Postponed:
			out = append(out, listing.Counted{View: v, Count: listing.PartOf(query, w.waiting(a)).Counts})
		default:
			out = append(out, listing.Counted{View: v, Count: a.Counted(query)})
		}
	}
	return out
}

// waiting are the lines of all tasks that are postponed.
func (w *worker) waiting(a engine.Asked) (out []listing.Reckoned) {
	w.each(a.PutOff(), func(home string) { out = append(out, a.Waiting(home)...) })
	return out
}

// gather asks each partition for its lines on a page, all at once.
func gather[T any](ctx context.Context, s *Service, in *Inquiry[T], q Question, refs []listing.Ref) ([]T, error) {
	of := map[int][]listing.Ref{}
	for _, r := range refs {
		p := stream.Partition(r.Home)
		of[p] = append(of[p], r)
	}
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	var mu sync.Mutex
	var wg sync.WaitGroup
	var all []T
	var missing []int
	for p, refs := range of {
		wg.Go(func() {
			q := q
			q.Refs = refs
			list, err := askOwner(ctx, s, in, p, q)
			mu.Lock()
			defer mu.Unlock()
			if all = append(all, list...); err != nil {
				missing = append(missing, p)
			}
		})
	}
	wg.Wait()
	if missing != nil {
		slices.Sort(missing)
		return all, &Incomplete{missing}
	}
	return all, nil
}

// inOrder are the lines in the order of the page.
func inOrder[T any](refs []listing.Ref, list []T, key func(*T) string) []T {
	of := make(map[string]*T, len(list))
	for i := range list {
		of[key(&list[i])] = &list[i]
	}
	out := make([]T, 0, len(list))
	for _, r := range refs {
		if l := of[r.Key]; l != nil {
			out = append(out, *l)
		}
	}
	return out
}
