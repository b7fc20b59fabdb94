package gate

import (
	"slices"

	"telltale/engine/stream/server"
	"telltale/notify/people"
)

// Status is how a program stands.
type Status struct {
	*people.Program
	// Vehicles counts those of which it may send, where it has a where.
	Vehicles int
	// Connections are those that it has, the oldest first.
	Connections []server.Connection
	Refused     Refused
}

// Statuses are how all programs stand, by id, and what those that nobody knows have tried.
func (g *Gate) Statuses() (all []Status, unknown Refused, err error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	var open []server.Connection
	if g.srv != nil {
		if open, err = g.srv.Connections(); err != nil {
			return nil, Refused{}, err
		}
	}
	counts := g.count()
	for _, p := range g.people.Programs() {
		s := Status{Program: p, Vehicles: counts[p.ID]}
		for _, c := range open {
			if p.Key != "" && c.Key == p.Key {
				s.Connections = append(s.Connections, c)
			}
		}
		slices.SortFunc(s.Connections, func(a, b server.Connection) int { return a.Since.Compare(b.Since) })
		if r := g.refused.of[p.ID]; r != nil {
			s.Refused = *r
		}
		all = append(all, s)
	}
	if r := g.refused.of[""]; r != nil {
		unknown = *r
	}
	return all, unknown, nil
}

// count counts the vehicles of each program with a where, once until they change: a page must
// not look at all vehicles for each program each time.
func (g *Gate) count() map[string]int {
	if g.counts == nil {
		g.counts = map[string]int{}
		for _, p := range g.people.Programs() {
			for i := range g.vehicles {
				if p.Where != "" && p.Speaks(g.vehicles[i].Vehicle) {
					g.counts[p.ID]++
				}
			}
		}
	}
	return g.counts
}

// End ends the connections of a program, and says how many there were. It may come again: to
// keep it out, take it out of people.yaml.
func (g *Gate) End(id string) (n int, err error) {
	all, _, err := g.Statuses()
	if err != nil {
		return 0, err
	}
	for _, s := range all {
		if s.ID != id {
			continue
		}
		for _, c := range s.Connections {
			if err := g.srv.Disconnect(c.ID); err != nil {
				return n, err
			}
			n++
		}
	}
	return n, nil
}
