package engine

import (
	"math"
	"slices"
	"telltale/engine/interval"
	"telltale/rules"
	"telltale/rules/unit"
	"time"
)

// law is what vehicles are judged by: the rule book in force and the clock.
type law struct {
	Book *rules.Book // nil before the first
	// Judge runs the book's rules, Shorten its tasks' factors: a rule that asks for a
	// due point has the first one busy.
	Judge, Shorten *rules.Judge
	Now            time.Time // the last tick; zero before the first
}

// view is what a record says by a law at a moment. It reads, and changes nothing but
// what it keeps of its own answers.
type view struct {
	*law
	rec  *Record   // of which it may derive the chains
	when time.Time // of what follows from it
	kept *applied
	// lines are the components' histories, dones room for what tasks count from, shared
	// the facts that rules are stepped by, most of them at one place.
	lines  []madeLine
	dones  []interval.Done
	shared *facts
	// shortening: a task's factor is being asked for.
	shortening bool
}

// newView reads a record as of the clock. kept is what of the book applies to the
// vehicle, nil where that has not been asked yet. What the view derives it keeps to
// itself.
func newView(l *law, rec Record, kept *applied) *view {
	return &view{law: l, rec: &rec, when: l.Now, kept: kept}
}

// Anew has the view read another record at a moment, keeping only its room.
func (f *view) Anew(l *law, rec *Record, when time.Time, kept *applied) {
	*f = view{law: l, rec: rec, when: when, kept: kept, dones: f.dones[:0]}
}

// bookHash names the book in force; "" before the first.
func (l *law) bookHash() string {
	if l.Book == nil {
		return ""
	}
	return l.Book.Hash
}

// knowsTask reports whether the book in force has a task or a follow-up of that name.
func (l *law) knowsTask(name string) bool {
	opens := func(list []rules.FollowUp) bool {
		return slices.ContainsFunc(list, func(fu rules.FollowUp) bool { return fu.Name == name })
	}
	return slices.ContainsFunc(l.Book.Tasks, func(t *rules.Task) bool { return t.Name == name || t.Was == name || opens(t.FollowUps) }) ||
		slices.ContainsFunc(l.Book.Rules, func(r *rules.Rule) bool { return opens(r.FollowUps) })
}

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

// statedShare is the greatest share of a component's fluid that the service's tasks
// renew by plan; 0 where none states one.
func (f *view) statedShare(s *Service, comp int) float64 {
	share := 0.0
	for _, at := range f.applied().rules.Tasks {
		if at.Task.Share > share && at.Component == comp && f.settlesTask(s, at.Task, comp) {
			share = at.Task.Share
		}
	}
	return share
}
