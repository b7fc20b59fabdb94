package lab

import (
	"math"
	"slices"

	"telltale/rules/unit"
)

// Result is one analyte of one sample in the analyte's base unit. Where Censored
// is true the laboratory reported "below Value": anything from 0 to Value. Where
// Above is true it reported "above Value": anything from Value to [Most].
type Result struct {
	Analyte  string
	Value    float64
	Censored bool
	Above    bool
}

// Span is what the result says that the value lies in; both ends are equal where
// it is known.
func (r Result) Span() Span {
	switch {
	case r.Censored:
		return Span{0, r.Value}
	case r.Above:
		return Span{r.Value, math.Max(r.Value, Most(r.Analyte))}
	}
	return Span{r.Value, r.Value}
}

// Step is one thing that happened to a component's fluid: a sample was drawn or
// fluid was exchanged.
type Step struct {
	Exchange bool
	// Distance (metres) and Hours (seconds) are the component's life meters at this
	// step, counted on over replaced instruments; NaN where unknown.
	Distance, Hours float64

	// Of a sample. Age (metres) and AgeHours (seconds) are the fluid's age as
	// stated on the sample's label; NaN where not stated.
	Results       []Result
	Age, AgeHours float64
	Laboratory    string // "" where not said
	Method, Point string // how it was measured, from where it was drawn; "" where not said

	// Of an exchange. Share is the part of all the fluid in the circuit that was
	// renewed, 0 to 1: filled (or drained) over capacity; NaN where unknown.
	Share float64
	// Stated marks a share that nobody measured: it is what such work renews by plan.
	Stated bool
	// TopUp marks an exchange without a drain: fluid was topped up in place of what
	// the component had consumed, with all it held, on the way there. It renews a
	// share like any other, but hides nothing at once, so what is asked of the latest
	// exchange is asked of the one before it.
	TopUp bool
}

// Share returns the renewed part of the fluid from litres filled, drained and
// held: filled / capacity, drained in place of filled where that is NaN, at
// most 1. It is NaN where the volumes do not tell.
func Share(filled, drained, capacity float64) float64 {
	if math.IsNaN(filled) {
		filled = drained
	}
	if !(capacity > 0) || !(filled >= 0) {
		return math.NaN()
	}
	return math.Min(filled/capacity, 1)
}

// result returns what the step says of the analyte.
func (s *Step) result(analyte string) (Result, bool) {
	for _, r := range s.Results {
		if r.Analyte == analyte {
			return r, true
		}
	}
	return Result{}, false
}

// resultNear looks first where the result stood on a sheet like this one.
func (s *Step) resultNear(analyte string, place int) (r Result, at int, ok bool) {
	if place < len(s.Results) && s.Results[place].Analyte == analyte {
		return s.Results[place], place, true
	}
	at = slices.IndexFunc(s.Results, func(r Result) bool { return r.Analyte == analyte })
	if at < 0 {
		return Result{}, place, false
	}
	return s.Results[at], at, true
}

// History is a component's samples and exchanges in order of when they
// happened. The last step is the sample that is judged.
type History []Step

// Alike returns the first step from which on the samples were measured by one
// method and drawn at one point, as far as that is said: another method or sampling
// point starts a new trend.
func (h History) Alike() int {
	method, point := "", ""
	other := func(known *string, s string) bool {
		if s != "" && *known == "" {
			*known = s
		}
		return s != "" && s != *known
	}
	for i := len(h) - 1; i >= 0; i-- {
		if s := &h[i]; !s.Exchange && (other(&method, s.Method) || other(&point, s.Point)) {
			return i + 1
		}
	}
	return 0
}

// before returns the index of the last step before i that is an exchange, no top-up
// (or a sample), or -1.
func (h History) before(i int, exchange bool) int {
	for i--; i >= 0; i-- {
		if h[i].Exchange == exchange && !h[i].TopUp {
			return i
		}
	}
	return -1
}

// meter is the component's life meter in metres (kind unit.Distance) or seconds
// (unit.Time), stated the fluid's age in them.
func (s *Step) meter(kind unit.Kind) float64 {
	if kind == unit.Time {
		return s.Hours
	}
	return s.Distance
}

func (s *Step) stated(kind unit.Kind) float64 {
	if s.Exchange {
		return math.NaN()
	}
	if kind == unit.Time {
		return s.AgeHours
	}
	return s.Age
}

// run returns how far the component ran from step i to step j; NaN where a meter
// is unknown.
func (h History) run(i, j int, kind unit.Kind) float64 {
	return h[j].meter(kind) - h[i].meter(kind)
}

// heldRun is the run from step i to step j of which the fluid still holds what was
// made: with each exchange its share of all before it leaves. It is the run over
// which the sample's excess over [Sheet.Carried] was made, also where fluid was
// renewed long after the sample before. NaN where a meter or a share is unknown.
func (h History) heldRun(i, j int, kind unit.Kind) float64 { return h.held(i, j, kind, true) }

func (h History) held(i, j int, kind unit.Kind, toppedUp bool) float64 {
	held, at := 0.0, h[i].meter(kind)
	for k := i + 1; k <= j; k++ {
		s := &h[k]
		if !s.Exchange && k < j || s.TopUp && !toppedUp {
			continue
		}
		now := s.meter(kind)
		run := now - at
		at = now
		switch {
		case s.TopUp:
			held = afterExchange(held+float64(run*thickened(s.Share)), s.Share)
		case s.Exchange:
			held = afterExchange(held+run, s.Share)
		default:
			held += run
		}
	}
	return held
}

// thickened is how much more a fluid gathers of what is made at a steady rate, where a
// share f of it is consumed on the way: what is left takes all of it, in the end
// -ln(1-f)/f times what a full sump does. Many small top-ups then come to (1-e^-x)/x, a
// sump that is kept full. Elementary mass balance; no published worked example found.
func thickened(share float64) float64 {
	if !(share > 0) || share >= 1 {
		return 1
	}
	return -math.Log1p(-share) / share
}

// unhidden is by how much more was made from step i to step j than what the fluid still
// holds of it, since part was consumed and topped up; 1 where that is nothing, or no meter
// tells.
func (h History) unhidden(i, j int) float64 {
	for _, kind := range []unit.Kind{unit.Distance, unit.Time} {
		if all, held := h.held(i, j, kind, false), h.heldRun(i, j, kind); all > 0 && held > 0 {
			return math.Max(all/held, 1)
		}
	}
	return 1
}

// left is the part of what was in the fluid at step i that is still in it at step j.
func (h History) left(i, j int) float64 {
	part := 1.0
	for k := i + 1; k <= j; k++ {
		if h[k].Exchange {
			part = afterExchange(part, h[k].Share)
		}
	}
	return part
}

// Ages is how long a fluid has been in use: metres and seconds of running, NaN
// where unknown.
type Ages struct{ Distance, Hours float64 }

func (a Ages) by(kind unit.Kind) float64 {
	if kind == unit.Time {
		return a.Hours
	}
	return a.Distance
}

// Ages returns the fluid's age at step i, mixed over partial exchanges:
// (1-f) × age before + run since. Before any exchange was seen, the ages stated on
// samples are taken as they are. An exchange of unknown share, or of fluid of
// unknown age, leaves the age unknown until a later sample states it.
func (h History) Ages(i int) Ages {
	if i < 0 || i >= len(h) {
		return Ages{math.NaN(), math.NaN()}
	}
	return Ages{h.mixed(i, unit.Distance), h.mixed(i, unit.Time)}
}

func (h History) mixed(last int, kind unit.Kind) (here float64) {
	h[:last+1].eachAge(kind, func(_ int, age float64) { here = age })
	return here
}

// eachAge tells the fluid's mixed age at each step.
func (h History) eachAge(kind unit.Kind, tell func(i int, here float64)) {
	age, at := math.NaN(), math.NaN() // the age when the meter stood at `at`
	tracked := false                  // an exchange gave the age: stated ones no longer count
	for i := range h {
		s := &h[i]
		now, stated := s.meter(kind), s.stated(kind)
		here := age + (now - at)
		switch {
		case s.Exchange:
			here = afterExchange(here, s.Share)
			age, at, tracked = here, now, !math.IsNaN(here)
		case !math.IsNaN(stated) && (!tracked || math.IsNaN(here)):
			here = stated
			// A sample without a meter value cannot anchor what comes after it.
			if !math.IsNaN(now) {
				age, at, tracked = stated, now, false
			}
		}
		tell(i, here)
	}
}

func afterExchange(age, share float64) float64 {
	if share == 1 {
		return 0 // whatever the age before
	}
	return (1 - share) * age
}

// atLeast reports whether a reaches b; values within 1e-9 of each other,
// relatively, are equal.
func atLeast(a, b float64) bool {
	return a >= b || math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b))
}
