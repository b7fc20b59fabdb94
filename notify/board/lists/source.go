package lists

import (
	"context"

	"telltale/engine/listing"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
)

// question is the list's question to the service.
func (a ask) question(r *frame.Request) service.Question {
	q := r.Question()
	q.Tag, q.Vehicle, q.Rule = a.Tag, a.Vehicle, a.Rule
	q.Listing = service.Listing{View: a.View, Stage: a.Stage, Of: a.Of, Q: a.Q, Kind: a.Kind, Person: a.Person, Statutory: a.Statutory, Aside: a.Aside,
		State: a.State, Silent: a.Silent, After: a.After, Before: a.Before, Limit: a.Limit}
	return q
}

// lines are the lines of a page of what stands. What partitions lack of it is an
// *service.Incomplete beside it, which frame.Missing takes out.
func (s site) lines(ctx context.Context, r *frame.Request, a ask) (listing.Page, error) {
	p, err := service.Lines.Of(ctx, s.Service, a.question(r))
	return p, asked(err)
}

// counts is how many lines each list of what stands has.
func (s site) counts(ctx context.Context, r *frame.Request, a ask) (map[listing.View]int, error) {
	a.View = ""
	all, err := service.Counts.Of(ctx, s.Service, a.question(r))
	out := map[listing.View]int{}
	for _, c := range all {
		out[c.View] = c.Total
	}
	return out, asked(err)
}

// vehiclesPage are the vehicles of a page.
func (s site) vehiclesPage(ctx context.Context, r *frame.Request, a ask) (listing.VehiclePage, error) {
	p, err := service.Vehicles.Of(ctx, s.Service, a.question(r))
	return p, asked(err)
}
