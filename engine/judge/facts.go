package judge

import (
	"cmp"
	"math"
	"slices"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/lab"
	"telltale/engine/record"
	"telltale/engine/usual"
	"telltale/rules/word"
)

// Facts answers what rules ask of one vehicle, and of one component where def is
// not nil, as the record stood at a place in its history.
type Facts struct {
	v             *View
	reg           *event.VehicleData
	vehicle       *word.Vehicle
	comp          *word.Component
	Def           *event.ComponentDef
	usual.Sources          // of the last sample
	past          lab.Past // read with the first of own
	own           map[string]lab.Own
	surplus       map[string]surplus

	// at is the last moment of readings that counts; services and samples count up
	// to the place before.
	at     int64
	before record.Place
	place  Judgement       // of which these are parts
	steps  record.Timeline // ends with the last sample that counts; empty where there is none
	Sheet  lab.Sheet

	of int // the component they are of, -1: the vehicle
	// top are the facts that the rule asks, where these are another component's; others are
	// such, by component.
	top    *Facts
	others map[int]*Facts
	mask   uint32
	ends   map[endKey]uint // the number of each censored result met so far
	// reported: words show the number that the laboratory gave, whichever end it is.
	Reported bool
	// untold: nobody asks what the answers rested on.
	untold bool
	Used   []event.ID // the events that answers rested on, in order of first use
	stated bool       // an answer rested on an exchange whose share nobody measured
}

type endKey struct {
	comp    int
	step    int
	analyte string
}

// FactsAt makes the facts of a component (-1: the vehicle) at a place.
func (v *View) FactsAt(comp int, at Judgement) *Facts {
	a := v.Applied()
	x := &Facts{v: v, reg: a.Reg, vehicle: &a.Vehicle, place: at, before: at.Before, at: at.At, of: comp}
	if comp < 0 {
		return x
	}
	x.comp, x.Def = &a.Comps[comp], &a.Reg.Components[comp]
	x.Sources = usual.Sources{Kind: x.comp.Kind, Baseline: a.Rules.Baselines[comp], Starting: a.Rules.Starting[comp], Clash: a.Rules.Clash[comp]}
	t := v.Timeline(comp)
	for i := len(t.Steps) - 1; i >= 0; i-- {
		// Of two samples at one place each is judged by itself.
		if s := t.Steps[i]; s.Sample != nil && s.Compare(at.Before) <= 0 && !(at.Sampled && s.Compare(at.Before) == 0 && s.Sample.ID != at.ID) {
			x.steps = t.UpTo(i)
			break
		}
	}
	x.Sheet = lab.Sheet{History: x.steps.Lab, Ends: x.end, Unsure: x.Clash}
	if n := len(x.steps.Lab); n > 0 {
		ages := x.steps.Lab.Ages(n - 1)
		x.Sheet.Mixed = &ages
	}
	var figures *fleet.Figures
	if n := len(x.steps.Steps); n > 0 {
		x.Printed, figures = x.steps.Steps[n-1].Sheet(), x.steps.Steps[n-1].Sample.Fleet
	}
	if x.Baseline != nil && x.Baseline.Fleet != nil {
		x.OfTheFleet(figures, a.Rules.Instead[comp])
	}
	if x.Baseline == nil {
		x.Baseline = x.Starting
	}
	if x.Baseline != nil {
		x.Sheet.Fresh = x.Baseline.Fresh
	}
	return x
}

// sharedFacts are the facts of a place for a rule that is done with them before the
// next one asks: one event has many rules judged at one place.
func (v *View) sharedFacts(comp int, at Judgement) *Facts {
	if x := v.shared; x != nil && x.of == comp && x.place == at {
		clear(x.ends)
		x.stated = false
		return x
	}
	v.shared = v.FactsAt(comp, at)
	v.shared.untold = true
	return v.shared
}

// Vehicle is the plain data of the vehicle that rules may read.
func (x *Facts) Vehicle() *word.Vehicle { return x.vehicle }

// Component is the plain data of the component, nil for a rule on the whole vehicle.
func (x *Facts) Component() *word.Component { return x.comp }

// Ends chooses the end of each censored result, a bit each.
func (x *Facts) Ends(mask uint32) { x.mask = mask }

// Censored counts the censored results that were met.
func (x *Facts) Censored() int { return len(x.ends) }

func (x *Facts) end(i int, r lab.Result) float64 {
	return x.choose(endKey{x.of, i, r.Analyte}, r.Span(), r.Value)
}

// choose gives an end of what is not known exactly; shown stands for it where the
// words show what was reported.
func (x *Facts) choose(k endKey, span lab.Span, shown float64) float64 {
	if span.Low == span.High {
		return shown
	}
	x = x.root() // where the ends are chosen
	n, ok := x.ends[k]
	if !ok {
		if x.ends == nil {
			x.ends = map[endKey]uint{}
		}
		n = uint(len(x.ends))
		x.ends[k] = n
	}
	if x.mask&word.AsReported != 0 || x.Reported && x.mask&word.Chosen == 0 {
		return shown
	}
	if x.mask>>n&1 == 0 {
		return span.Low
	}
	return span.High
}

func (x *Facts) use(ids ...event.ID) {
	if x = x.root(); x.untold {
		return
	}
	for _, id := range ids {
		if !slices.Contains(x.Used, id) {
			x.Used = append(x.Used, id)
		}
	}
}

// useStep notes that an answer rests on a step's figures.
func (x *Facts) useStep(i int) {
	x.use(x.steps.Steps[i].ID())
	x.root().stated = x.root().stated || x.steps.Lab[i].Stated
}

// ageStated reports whether the fluid's mixed age rests on a share that nobody
// measured: one since the last whole exchange.
func (x *Facts) ageStated() bool {
	for i := len(x.steps.Lab) - 1; i >= 0; i-- {
		if s := &x.steps.Lab[i]; s.Exchange && s.Stated {
			return true
		} else if s.Exchange && s.Share == 1 {
			return false
		}
	}
	return false
}

// done reports whether a service that counts here did the task, one that contains it
// or one that takes its place.
func (x *Facts) done(task string) bool {
	for _, t := range x.v.Book.Tasks {
		if t.Name != task && !slices.Contains(t.Over, task) {
			continue
		}
		for i := range x.v.Rec.Services {
			s := &x.v.Rec.Services[i]
			if s.Stamp.Place(event.ServiceEvent).Compare(x.before) <= 0 && x.v.work().Settles(s, t, x.of) {
				return true
			}
		}
		if x.v.work().DrawnBy(t, x.of, x.before) {
			return true
		}
	}
	return false
}

func (x *Facts) life(hours bool) (float64, string, bool) {
	if n := len(x.steps.Lab); n > 0 && x.steps.Steps[n-1].Compare(x.before) == 0 {
		v := x.steps.Lab[n-1].Distance
		if hours {
			v = x.steps.Lab[n-1].Hours
		}
		if !math.IsNaN(v) {
			return v, "", true
		}
	}
	if hours {
		return x.lifeOn(x.v.Chain(x.of, true), "a reading of the hour meter")
	}
	return x.lifeOn(x.v.Chain(x.of, false), noMeter)
}

// lifeOn is what a meter has counted; none says what is missing where it was not read.
func (x *Facts) lifeOn(c *record.Chain, none string) (float64, string, bool) {
	if c == nil {
		return 0, none, false
	}
	if p, ok := c.Last(x.at); ok {
		x.use(p.ID)
		return p.Life, "", true
	}
	if since, untold := c.UntoldSince(); untold {
		return 0, "how far the " + c.Name + " has run: it went back on " + x.v.DayOf(since), false
	}
	return 0, cmp.Or(none, "a reading of the "+c.Name), false
}

// lifeFor is what the meter has counted by which a task counts.
func (x *Facts) lifeFor(d *Due, hours bool) (float64, string, bool) {
	if c := x.v.DueChain(d, hours); c != nil && c != x.v.Chain(x.of, hours) {
		return x.lifeOn(c, "")
	}
	return x.life(hours)
}

func (x *Facts) perDay() (float64, string, bool) {
	c := x.v.Chain(x.of, false)
	if c == nil {
		return 0, noMeter, false
	}
	return x.usage(c)
}

// usage is what a meter usually counts in a day.
func (x *Facts) usage(c *record.Chain) (float64, string, bool) {
	u := c.ReckonUsage(x.at)
	if !u.OK {
		return 0, "enough readings to tell the usage", false
	}
	return u.PerSecond * 86400, "", true
}

func (x *Facts) restsOnSample() { x.use(x.steps.Steps[len(x.steps.Steps)-1].ID()) }

func (x *Facts) restsOnAge() {
	x.restsOnSample()
	x.root().stated = x.root().stated || x.ageStated()
}

func (x *Facts) restsOnAll() {
	x.restsOnSample()
	for i := range x.steps.Steps[:len(x.steps.Steps)-1] {
		x.useStep(i)
	}
}

func (x *Facts) restsOnLastDrain() {
	x.restsOnSample()
	if e := x.steps.LastExchange(len(x.steps.Steps) - 1); e >= 0 {
		x.useStep(e)
	}
}

// restsOnChange goes back to the sample before; what was drained between makes no
// difference to a difference of results.
func (x *Facts) restsOnChange() {
	x.restsOnSample()
	for i := len(x.steps.Steps) - 2; i >= 0; i-- {
		x.use(x.steps.Steps[i].ID())
		if x.steps.Steps[i].Sample != nil {
			return
		}
	}
}

func (x *Facts) restsOnRun() {
	x.restsOnSample()
	for i := len(x.steps.Steps) - 2; i >= 0; i-- {
		x.useStep(i)
		if x.steps.Steps[i].Sample != nil {
			return
		}
	}
}

// restsOnExchange goes back to the sample before the last exchange.
func (x *Facts) restsOnExchange() {
	x.restsOnSample()
	seen := false // an exchange; the sample before it ends the search
	for i := len(x.steps.Steps) - 2; i >= 0; i-- {
		s := &x.steps.Steps[i]
		if s.Sample == nil || !seen {
			x.useStep(i)
		}
		if seen && s.Sample != nil {
			x.useStep(i)
			return
		}
		seen = seen || s.Exchanged()
	}
}
