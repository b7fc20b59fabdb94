package engine

import (
	"math"
	"slices"
	"telltale/rules"
	"telltale/rules/unit"
	"time"
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

// chain is the meter that counts for a component (-1: the vehicle), by distance or hours;
// nil where there is none.
func (f *view) chain(comp int, hours bool) *chain {
	return f.rec.chainFor(f.applied().reg, f.def(comp), hours)
}

func (f *view) componentName(comp int) string {
	if comp < 0 {
		return ""
	}
	return f.applied().reg.Components[comp].Name
}

func (f *view) def(comp int) *ComponentDef {
	if comp < 0 {
		return nil
	}
	return &f.applied().reg.Components[comp]
}

func (f *view) timeline(comp int) timeline {
	a := f.applied()
	if f.lines == nil {
		f.lines = make([]madeLine, len(a.reg.Components))
	}
	l := &f.lines[comp]
	if !l.made {
		stated := func(s *Service) float64 { return f.statedShare(s, comp) }
		l.timeline, l.made = f.rec.timeline(a.reg, &a.reg.Components[comp], stated), true
	}
	return l.timeline
}

// madeLine is a component's timeline once it was asked for.
type madeLine struct {
	timeline
	made bool
}

// registeredComponents are those of a vehicle that rules apply to.
func (f *view) registeredComponents() []ComponentDef {
	if reg := f.rec.registered(); reg == nil || reg.Retired || f.Book == nil {
		return nil
	}
	return f.applied().reg.Components
}
