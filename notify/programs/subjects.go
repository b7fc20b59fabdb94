// Package programs is what the programs of people.yaml may do where they speak to the
// service: which subjects they may publish to over NATS, whose token it is that comes over
// HTTP, and why something was refused. All but [NewToken] is a function of what it is given.
//
// Package gate, below, holds the NATS server to it.
package programs

import (
	"cmp"
	"slices"

	"telltale/engine/intake"
	"telltale/engine/stream/server/accounts"
	"telltale/notify/people"
)

// Vehicle is one that is registered.
type Vehicle struct {
	people.Vehicle
	// Names are those under which events of it are sent: its key, and what it was called
	// before.
	Names []string
}

// Most is how many subjects all programs together may have one by one. To read so many, at
// the start and at each change, a server takes some 2 s on two busy cores.
const Most = 100_000

// Subjects are what each program with a key may publish to: by kind for one that sends of
// all vehicles, else one by one. Programs that no longer fit into [Most], those with the most
// vehicles first, may publish nothing and are named in over: a right must not grow because
// the fleet did.
func Subjects(all []*people.Program, vehicles []Vehicle) (out []accounts.Program, over []string) {
	return subjects(all, vehicles, Most)
}

func subjects(all []*people.Program, vehicles []Vehicle, most int) (out []accounts.Program, over []string) {
	for _, p := range all {
		if p.Key != "" {
			out = append(out, accounts.Program{Name: p.ID, Key: p.Key, Asks: p.Asks, Operator: p.Operator, Publishes: publishes(p, vehicles)})
		}
	}
	slices.SortStableFunc(out, func(a, b accounts.Program) int { return cmp.Compare(len(a.Publishes), len(b.Publishes)) })
	n := 0
	for i := range out {
		if n += len(out[i].Publishes); n > most {
			out[i].Publishes, over = nil, append(over, out[i].Name)
		}
	}
	slices.SortFunc(out, func(a, b accounts.Program) int { return cmp.Compare(a.Name, b.Name) })
	slices.Sort(over)
	return out, over
}

func publishes(p *people.Program, vehicles []Vehicle) (subjects []string) {
	if p.Where == "" {
		for _, kind := range p.Sends {
			subjects = append(subjects, "telltale.in.*."+kind)
		}
		return subjects
	}
	for i := range vehicles {
		if v := &vehicles[i]; p.Speaks(v.Vehicle) {
			for _, name := range v.Names {
				for _, kind := range p.Sends {
					subjects = append(subjects, "telltale.in."+intake.Token(name)+"."+kind)
				}
			}
		}
	}
	slices.Sort(subjects)
	return slices.Compact(subjects)
}

// Short is the beginning of a key, by which people tell it from others.
func Short(key string) string {
	const shown = 8
	if len(key) <= shown {
		return key
	}
	return key[:shown] + "…"
}
