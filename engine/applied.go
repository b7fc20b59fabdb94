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

func (f *view) applied() *applied {
	if f.kept != nil && f.kept.book == f.Book {
		return f.kept
	}
	reg := f.rec.registered()
	a := &applied{book: f.Book, reg: reg, zone: reg.zone()}
	a.vehicle = rules.Vehicle{Name: reg.Name, Kind: reg.Kind, Tags: reg.Tags}
	for _, c := range reg.Components {
		rc := rules.Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid}
		if v := litres(c.Capacity); !math.IsNaN(v) {
			rc.Capacity = unit.From(v, f.Book.Units.Volume)
		}
		a.comps = append(a.comps, rc)
	}
	a.rules = f.Book.For(f.Judge, &a.vehicle, a.comps)
	f.kept = a
	return a
}

func (f *view) task(name string) *rules.Task {
	i := slices.IndexFunc(f.Book.Tasks, func(t *rules.Task) bool { return t.Name == name })
	if i < 0 {
		return nil
	}
	return f.Book.Tasks[i]
}

// knowsTask reports whether the book in force has a task or a follow-up of that name.
func (l *law) knowsTask(name string) bool {
	opens := func(list []rules.FollowUp) bool {
		return slices.ContainsFunc(list, func(fu rules.FollowUp) bool { return fu.Name == name })
	}
	return slices.ContainsFunc(l.Book.Tasks, func(t *rules.Task) bool { return t.Name == name || t.Was == name || opens(t.FollowUps) }) ||
		slices.ContainsFunc(l.Book.Rules, func(r *rules.Rule) bool { return opens(r.FollowUps) })
}

// chain is the meter that counts for a component (-1: the vehicle), by distance or hours;
// nil where there is none.
func (f *view) chain(comp int, hours bool) *chain {
	return f.rec.chainFor(f.applied().reg, f.def(comp), hours)
}
