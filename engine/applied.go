package engine

import (
	"math"
	"slices"
	"time"

	"telltale/rules"
	"telltale/rules/unit"
)

// applied is what of the book in force applies to a vehicle; it is derived, and
// made anew when the book or the registration changes.
type applied struct {
	book    *rules.Book
	reg     *VehicleData
	zone    *time.Location
	vehicle rules.Vehicle
	comps   []rules.Component
	rules   *rules.Applied
}

func (f *fold) applied() *applied {
	r := f.rec
	if r.applied != nil && r.applied.book == f.p.book {
		return r.applied
	}
	reg := r.registered()
	a := &applied{book: f.p.book, reg: reg, zone: reg.zone()}
	a.vehicle = rules.Vehicle{Name: reg.Name, Kind: reg.Kind, Tags: reg.Tags}
	for _, c := range reg.Components {
		rc := rules.Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid}
		if v := litres(c.Capacity); !math.IsNaN(v) {
			rc.Capacity = unit.From(v, f.p.book.Units.Volume)
		}
		a.comps = append(a.comps, rc)
	}
	a.rules = f.p.book.For(f.p.judge, &a.vehicle, a.comps)
	r.applied = a
	return a
}

func (f *fold) task(name string) *rules.Task {
	i := slices.IndexFunc(f.p.book.Tasks, func(t *rules.Task) bool { return t.Name == name })
	if i < 0 {
		return nil
	}
	return f.p.book.Tasks[i]
}

// knowsTask reports whether the book in force has a task or a follow-up of that name.
func (p *Partition) knowsTask(name string) bool {
	opens := func(list []rules.FollowUp) bool {
		return slices.ContainsFunc(list, func(fu rules.FollowUp) bool { return fu.Name == name })
	}
	return slices.ContainsFunc(p.book.Tasks, func(t *rules.Task) bool { return t.Name == name || t.Was == name || opens(t.FollowUps) }) ||
		slices.ContainsFunc(p.book.Rules, func(r *rules.Rule) bool { return opens(r.FollowUps) })
}
