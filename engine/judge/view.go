package judge

import (
	"math"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/engine/wear"
	"telltale/engine/work"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Law is what vehicles are judged by: the rule book in force and the clock.
type Law struct {
	Book *rules.Book // nil before the first
	// Judge runs the book's rules, Shorten its tasks' factors: a rule that asks for a
	// due point has the first one busy.
	Judge, Shorten *rules.Judge
	Applies        *applies.Finder // finds what of the book applies to each
	Now            time.Time       // the last tick; zero before the first
	// Resumed is when the clock last went on after a pause, Unix seconds; 0 for never.
	// What happened meanwhile may still be on its way.
	Resumed int64
	// Dates is how well the fleet's forecasts kept their word; nil while nobody knows.
	Dates *fleet.Dates
}

// View is what a record says by a law at a moment. It reads, and changes nothing but
// what it keeps of its own answers.
type View struct {
	*Law
	Rec  *record.Record // of which it may derive the chains
	When time.Time      // of what follows from it
	Kept *Applied
	// lines are the components' histories, dones room for what tasks count from, shared
	// the facts that rules are stepped by, most of them at one place.
	lines  []madeLine
	tracks []*wear.Track // of what is measured by hand, by the book's measures
	dones  []interval.Done
	shared *Facts
	stages map[alarm.Key][]stood // how rules stood that others asked about
	inner  *View                 // in which those are judged
	// shortening: a task's factor is being asked for.
	shortening bool
	// Reader is in which units whoever asks reads, of what the vehicle's registration does
	// not say. Of what neither says, the book's are taken.
	Reader english.Reader
	// Based: all is told in the base units, whatever anybody reads, to a program that
	// names none.
	Based bool
}

// Units are those in which people read of the vehicle: what its registration says, as its
// odometer shows, then those of whoever asks, then the book's.
func (v *View) Units() unit.System {
	if v.Based {
		return unit.Metric
	}
	s := v.Said()
	if v.Book != nil {
		s = s.Or(v.Book.Units)
	}
	return s.Or(unit.Metric)
}

// Said are the units that the registration or whoever asks names. What was reported is
// shown in these; of what nobody names, as it was reported.
func (v *View) Said() unit.System {
	if v.Based {
		return unit.System{}
	}
	var own unit.System
	if reg := v.Rec.Registered(); reg != nil {
		own, _ = unit.SystemOf(reg.Reads) // checked when it came in
	}
	return own.Or(v.Reader.Units)
}

// writer writes quantities as people read of the vehicle, or as marks where nobody knows
// yet who will.
func (v *View) writer() english.Reader {
	return english.Reader{Units: v.Units(), Marked: v.Reader.Marked}
}

// NewView reads a record as of the clock. kept is what of the book applies to the
// vehicle, nil where that has not been asked yet. What the view derives it keeps to
// itself.
func NewView(l *Law, rec record.Record, kept *Applied) *View {
	return &View{Law: l, Rec: &rec, When: l.Now, Kept: kept}
}

// Anew has the view read another record at a moment, keeping only its room.
func (v *View) Anew(l *Law, rec *record.Record, when time.Time, kept *Applied) {
	*v = View{Law: l, Rec: rec, When: when, Kept: kept, dones: v.dones[:0]}
}

// BookHash names the book in force; "" before the first.
func (l *Law) BookHash() string {
	if l.Book == nil {
		return ""
	}
	return l.Book.Hash
}

// Applied is what of the book in force applies to a vehicle; it is derived, and
// made anew when the book or the registration changes.
type Applied struct {
	book    *rules.Book
	Reg     *event.VehicleData
	Zone    *time.Location
	Vehicle word.Vehicle
	Comps   []word.Component
	// Fitted are the dates on which the components came into the vehicle; zero: with it.
	Fitted []interval.Date
	Rules  *applies.Parts
}

// Applied is what of the book in force applies to the vehicle, which must be registered.
func (v *View) Applied() *Applied {
	if v.Kept != nil && v.Kept.book == v.Book {
		return v.Kept
	}
	reg := v.Rec.Registered()
	a := &Applied{book: v.Book, Reg: reg, Zone: reg.Location()}
	a.Vehicle = word.Vehicle{Key: v.Rec.Shown(), Name: reg.Name, Kind: reg.Kind, Tags: reg.Tags}
	for _, c := range reg.Components {
		rc := word.Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid}
		if value := event.Litres(c.Capacity); !math.IsNaN(value) {
			rc.Capacity = value
		}
		a.Comps = append(a.Comps, rc)
		fitted, _ := interval.ParseDate(c.InService)
		a.Fitted = append(a.Fitted, fitted)
	}
	a.Rules = v.Applies.To(&a.Vehicle, a.Comps)
	v.Kept = a
	return a
}

// Chain is the meter that counts for a component (-1: the vehicle), by distance or hours;
// nil where there is none.
func (v *View) Chain(comp int, hours bool) *record.Chain {
	return v.Rec.ChainFor(v.Applied().Reg, v.ComponentDef(comp), hours)
}

// ChainOf is the meter by which a task counts on a component: the one that it names, or
// else the one that counts for the component. nil where there is none.
func (v *View) ChainOf(t *rules.Task, comp int, hours bool) *record.Chain {
	return v.work().Chain(t, comp, hours)
}

// work is the work of the vehicle.
func (v *View) work() work.History {
	a := v.Applied()
	return work.History{Rec: v.Rec, Reg: a.Reg, Zone: a.Zone, Fitted: a.Fitted, Twins: a.Rules.Twins}
}

// DueChain is the meter by which the task or follow-up counts.
func (v *View) DueChain(d *Due, hours bool) *record.Chain { return v.ChainOf(d.Task, d.Comp, hours) }

// Key names the alarm of a rule or task on a component (-1: on the vehicle).
func (v *View) Key(name string, comp int) alarm.Key {
	return alarm.Key{Rule: name, Component: v.ComponentName(comp)}
}

// ComponentName is the name of the component with that index; "" for -1, the vehicle.
func (v *View) ComponentName(comp int) string {
	if comp < 0 {
		return ""
	}
	return v.Applied().Reg.Components[comp].Name
}

// ComponentDef is the registered component with that index; nil for -1, the vehicle.
func (v *View) ComponentDef(comp int) *event.ComponentDef {
	if comp < 0 {
		return nil
	}
	return &v.Applied().Reg.Components[comp]
}

// Timeline is the history of a component's fluid.
func (v *View) Timeline(comp int) record.Timeline {
	a := v.Applied()
	if v.lines == nil {
		v.lines = make([]madeLine, len(a.Reg.Components))
	}
	l := &v.lines[comp]
	if !l.made {
		stated := func(s *record.Service) float64 { return v.statedShare(s, comp) }
		l.Timeline, l.made = v.Rec.Timeline(a.Reg, &a.Reg.Components[comp], stated), true
	}
	return l.Timeline
}

// madeLine is a component's timeline once it was asked for.
type madeLine struct {
	record.Timeline
	made bool
}

// RegisteredComponents are those of a vehicle that rules apply to.
func (v *View) RegisteredComponents() []event.ComponentDef {
	if reg := v.Rec.Registered(); reg == nil || reg.Retired || v.Book == nil {
		return nil
	}
	return v.Applied().Reg.Components
}

// statedShare is the greatest share of a component's fluid that the service's tasks
// renew by plan; 0 where none states one.
func (v *View) statedShare(s *record.Service, comp int) float64 {
	share := 0.0
	for _, at := range v.Applied().Rules.Tasks {
		if at.Task.Share > share && at.Component == comp && v.work().Settles(s, at.Task, comp) {
			share = at.Task.Share
		}
	}
	return share
}
