// Package ran runs cases of rules for pages, and gives them as the part "case" shows them.
package ran

import (
	"context"
	"path"
	"strings"

	"telltale/engine/cases"
	"telltale/engine/event"
	"telltale/engine/stream/service"
	"telltale/rules"
)

// Case is a case that was run.
type Case struct {
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

// Run runs some of a book's cases, with vehicles that they do not register as the service
// has them.
func Run(ctx context.Context, s *service.Service, b *rules.Book, some []*rules.Case) (out []Case, err error) {
	of := *b
	of.Cases = some
	register, err := registered(ctx, s, some)
	if err != nil {
		return nil, err
	}
	results, _ := cases.Run(&of, register)
	for i := range results {
		out = append(out, caseOf(&results[i]))
	}
	return out, nil
}

func caseOf(r *cases.Result) Case {
	one := Case{Name: r.Case.Name, OK: r.OK(), Rows: r.Rows, None: len(r.Case.Expect) == 0, Notes: r.Notes, File: File(r.Case.At.File), Line: r.Case.At.Line}
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

// File is the name of a file as people call it.
func File(name string) string { return path.Base(strings.ReplaceAll(name, `\`, "/")) }

// registered are the registrations of the vehicles that the cases name, for those that do
// not register them.
func registered(ctx context.Context, s *service.Service, list []*rules.Case) (out []event.Event, err error) {
	asked := map[string]bool{}
	for _, c := range list {
		for _, g := range c.Given {
			words := strings.Fields(g.Text)
			if len(words) < 3 || asked[words[2]] {
				continue
			}
			id := words[2]
			asked[id] = true
			d, err := s.Registered(ctx, id)
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
