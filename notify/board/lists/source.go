package lists

import (
	"context"

	"telltale/engine/listing"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
)

// question is the list's question to the service: what stands, a driver sees as well; every
// other list is of work.
func (a ask) question(r *frame.Request) service.Question {
	q := r.Question()
	if a.View != "" && a.View != listing.Standing {
		q = r.QuestionOver(rights.See)
	}
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
	out := map[listing.View]int{}
	count := func(of listing.View) (sees string, err error) {
		a.View = of
		q := a.question(r)
		q.View = ""
		all, err := service.Counts.Of(ctx, s.Service, q)
		for _, c := range all {
			if c.View == of || of != listing.Standing {
				out[c.View] = c.Total
			}
		}
		_, err = frame.Missing(asked(err))
		return q.Sees, err
	}
	sees, err := count(listing.Due)
	if err == nil && sees != r.Question().Sees {
		_, err = count(listing.Standing) // which is of more vehicles
	}
	return out, err
}

// vehiclesPage are the vehicles of a page.
func (s site) vehiclesPage(ctx context.Context, r *frame.Request, a ask) (listing.VehiclePage, error) {
	p, err := service.Vehicles.Of(ctx, s.Service, a.question(r))
	return p, asked(err)
}
