package rulebook

import (
	"context"
	"slices"
	"strings"

	"telltale/engine/cases"
	"telltale/engine/event"
	"telltale/rules"
)

// ran is a case that was run for the page.
type ran struct {
	Name   string
	OK     bool
	Given  []string
	Rows   []cases.Row
	None   bool // nothing is expected
	Faults []string
	Notes  []string
	Asks   []string // what a case that came out does not show
	File   string
	Line   int
}

// mostCases bounds how many are run for one page.
const mostCases = 40

// cases runs the cases that speak of a part, and those of its file that speak of all. more
// is how many there are beyond those that were run.
func (s *site) cases(ctx context.Context, b *book, name, in string) (out []ran, more int, err error) {
	of := *b.Book
	of.Cases = nil
	for _, c := range b.Cases {
		if slices.Contains(c.Of, name) || len(c.Of) == 0 && c.At.File == in {
			of.Cases = append(of.Cases, c)
		}
	}
	more = max(0, len(of.Cases)-mostCases)
	of.Cases = of.Cases[:len(of.Cases)-more]
	register, err := s.registered(ctx, of.Cases)
	if err != nil {
		return nil, 0, err
	}
	results, _ := cases.Run(&of, register)
	for i := range results {
		out = append(out, ranOf(&results[i]))
	}
	return out, more, nil
}

func ranOf(r *cases.Result) ran {
	one := ran{Name: r.Case.Name, OK: r.OK(), Rows: r.Rows, None: len(r.Case.Expect) == 0, Notes: r.Notes, File: file(r.Case.At.File), Line: r.Case.At.Line}
	for _, g := range r.Case.Given {
		one.Given = append(one.Given, g.Text)
	}
	for i := range r.Faults {
		one.Faults = append(one.Faults, r.Faults[i].Text)
	}
	for i := range r.Questions {
		one.Asks = append(one.Asks, r.Questions[i].Text)
	}
	return one
}

// registered are the registrations of the vehicles that the cases name, for those that do
// not register them.
func (s *site) registered(ctx context.Context, list []*rules.Case) (out []event.Event, err error) {
	asked := map[string]bool{}
	for _, c := range list {
		for _, g := range c.Given {
			words := strings.Fields(g.Text)
			if len(words) < 3 || asked[words[2]] {
				continue
			}
			id := words[2]
			asked[id] = true
			d, err := s.Service.Registered(ctx, id)
			if err != nil {
				return nil, err
			}
			if d != nil {
				out = append(out, event.Event{ID: event.ID{Source: "/register", ID: id}, Kind: event.VehicleEvent, Vehicle: id, Data: d})
			}
		}
	}
	return out, nil
}
