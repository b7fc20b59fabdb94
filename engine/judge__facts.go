package engine

import (
	"math"
	"slices"
	"telltale/engine/lab"
	"telltale/rules"
)

// facts answers what rules ask of one vehicle, and of one component where def is
// not nil, as the record stood at a place in its history.
type facts struct {
	f        *view
	reg      *VehicleData
	vehicle  *rules.Vehicle
	comp     *rules.Component
	def      *ComponentDef
	baseline *rules.Baseline
	// Where the book has it made from the fleet, fleetOf is the book's, fleet what it
	// says of the last sample (nil: nothing) and instead counts for what it does not say.
	fleetOf *rules.Baseline
	fleet   *FleetFigures
	instead *rules.Baseline

	// at is the last moment of readings that counts; services and samples count up
	// to the place before.
	at     int64
	before place
	steps  timeline // ends with the last sample that counts; empty where there is none
	sheet  lab.Sheet

	of   int // the component they are of
	mask uint32
	ends map[endKey]uint // the number of each censored result met so far
	// reported: words show the number that the laboratory gave, whichever end it is.
	reported bool
	used     []ID // the events that answers rested on, in order of first use
	stated   bool // an answer rested on an exchange whose share nobody measured
}

type endKey struct {
	step    int
	analyte string
}

// factsAt makes the facts of a component (-1: the vehicle) at a place; readings
// count up to the moment at.
func (f *view) factsAt(comp int, before place, at int64) *facts {
	a := f.applied()
	x := &facts{f: f, reg: a.reg, vehicle: &a.vehicle, before: before, at: at, of: comp}
	if comp < 0 {
		return x
	}
	x.comp, x.def = &a.comps[comp], &a.reg.Components[comp]
	x.baseline = a.rules.Baselines[comp]
	t := f.timeline(comp)
	for i := len(t.steps) - 1; i >= 0; i-- {
		if s := t.steps[i]; s.sample != nil && s.compare(before) <= 0 {
			x.steps = t.upTo(i)
			break
		}
	}
	x.sheet = lab.Sheet{History: x.steps.lab, Ends: x.end}
	if x.baseline != nil && x.baseline.Fleet != nil {
		x.ofTheFleet(a.rules.Instead[comp])
	}
	if x.baseline != nil {
		x.sheet.Fresh = x.baseline.Fresh
	}
	return x
}

// sharedFacts are the facts of a place for a rule that is done with them before the
// next one asks: one event has many rules judged at one place.
func (f *view) sharedFacts(comp int, before place, at int64) *facts {
	if x := f.shared; x != nil && x.of == comp && x.before == before && x.at == at {
		clear(x.ends)
		x.used, x.stated = x.used[:0], false
		return x
	}
	f.shared = f.factsAt(comp, before, at)
	return f.shared
}

// Vehicle and Component are the plain data that rules may read.
func (x *facts) Vehicle() *rules.Vehicle { return x.vehicle }

func (x *facts) Component() *rules.Component { return x.comp }

// Ends chooses the end of each censored result; Censored counts those met.
func (x *facts) Ends(mask uint32) { x.mask = mask }

func (x *facts) Censored() int { return len(x.ends) }

func (x *facts) end(i int, r lab.Result) float64 {
	return x.choose(endKey{i, r.Analyte}, r.Span(), r.Value)
}

// choose gives an end of what is not known exactly; shown stands for it where the
// words show what was reported.
func (x *facts) choose(k endKey, span lab.Span, shown float64) float64 {
	if span.Low == span.High {
		return shown
	}
	n, ok := x.ends[k]
	if !ok {
		if x.ends == nil {
			x.ends = map[endKey]uint{}
		}
		n = uint(len(x.ends))
		x.ends[k] = n
	}
	if x.reported {
		return shown
	}
	if x.mask>>n&1 == 0 {
		return span.Low
	}
	return span.High
}

func (x *facts) use(ids ...ID) {
	for _, id := range ids {
		if !slices.Contains(x.used, id) {
			x.used = append(x.used, id)
		}
	}
}

// useStep notes that an answer rests on a step's figures.
func (x *facts) useStep(i int) {
	x.use(x.steps.steps[i].id())
	x.stated = x.stated || x.steps.lab[i].Stated
}

// ageStated reports whether the fluid's mixed age rests on a share that nobody
// measured: one since the last whole exchange.
func (x *facts) ageStated() bool {
	for i := len(x.steps.lab) - 1; i >= 0; i-- {
		if s := &x.steps.lab[i]; s.Exchange && s.Stated {
			return true
		} else if s.Exchange && s.Share == 1 {
			return false
		}
	}
	return false
}

// done reports whether a service that counts here did the task, one that contains it
// or one that takes its place.
func (x *facts) done(task string) bool {
	comp := -1
	if x.def != nil {
		comp = slices.IndexFunc(x.reg.Components, func(c ComponentDef) bool { return c.Name == x.def.Name })
	}
	for _, t := range x.f.Book.Tasks {
		if t.Name != task && !slices.Contains(t.Over, task) {
			continue
		}
		for i := range x.f.rec.Services {
			s := &x.f.rec.Services[i]
			if s.Stamp.place(ServiceEvent).compare(x.before) <= 0 && x.f.settlesTask(s, t, comp) {
				return true
			}
		}
	}
	return false
}

func (x *facts) life(hours bool) (float64, string, bool) {
	if n := len(x.steps.lab); n > 0 && x.steps.steps[n-1].compare(x.before) == 0 {
		v := x.steps.lab[n-1].Distance
		if hours {
			v = x.steps.lab[n-1].Hours
		}
		if !math.IsNaN(v) {
			return v, "", true
		}
	}
	if c := x.f.chain(x.of, hours); c != nil {
		if p, ok := c.last(x.at); ok {
			x.use(p.id)
			return p.life, "", true
		}
	}
	if hours {
		return 0, "a reading of the hour meter", false
	}
	return 0, noMeter, false
}

func (x *facts) perDay() (float64, string, bool) {
	c := x.f.chain(x.of, false)
	if c == nil {
		return 0, noMeter, false
	}
	u := c.reckonUsage(x.at)
	if !u.OK {
		return 0, "enough readings to tell the usage", false
	}
	return u.PerSecond * 86400, "", true
}

func (x *facts) restsOnSample() { x.use(x.steps.steps[len(x.steps.steps)-1].id()) }

func (x *facts) restsOnAge() {
	x.restsOnSample()
	x.stated = x.stated || x.ageStated()
}

func (x *facts) restsOnAll() {
	x.restsOnSample()
	for i := range x.steps.steps[:len(x.steps.steps)-1] {
		x.useStep(i)
	}
}

func (x *facts) restsOnLastDrain() {
	x.restsOnSample()
	if e := x.steps.lastExchange(len(x.steps.steps) - 1); e >= 0 {
		x.useStep(e)
	}
}

// restsOnChange goes back to the sample before; what was drained between makes no
// difference to a difference of results.
func (x *facts) restsOnChange() {
	x.restsOnSample()
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		x.use(x.steps.steps[i].id())
		if x.steps.steps[i].sample != nil {
			return
		}
	}
}

func (x *facts) restsOnRun() {
	x.restsOnSample()
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		x.useStep(i)
		if x.steps.steps[i].sample != nil {
			return
		}
	}
}

// restsOnExchange goes back to the sample before the last exchange.
func (x *facts) restsOnExchange() {
	x.restsOnSample()
	seen := false // an exchange; the sample before it ends the search
	for i := len(x.steps.steps) - 2; i >= 0; i-- {
		s := &x.steps.steps[i]
		if s.sample == nil || !seen {
			x.useStep(i)
		}
		if seen && s.sample != nil {
			x.useStep(i)
			return
		}
		seen = seen || s.service != nil
	}
}
