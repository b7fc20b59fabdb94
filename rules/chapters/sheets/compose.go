package sheets

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"time"
)

// kmADay turns what a vehicle ran into dates.
const kmADay = 90

// story is the past of one vehicle as it is composed.
type story struct {
	r       *rand.Rand
	c       *Cause
	m       *machine
	by      maker
	lab     laboratory
	vehicle string
	begin   float64 // odometer at the registration, km
	odo     float64
	mixed   bool // half of the fluid was exchanged, so that nobody knows its age
	lines   []string
}

var notName = regexp.MustCompile(`[^a-z]+`)

// compose is the k-th sheet of a cause.
func compose(c *Cause, k int) Sheet {
	r := seeded(c.Name, k)
	s := &story{r: r, c: c, m: c.in[k%len(c.in)], vehicle: fmt.Sprintf("%s-%02d", notName.ReplaceAllString(c.Name, "-"), k)}
	habit := 1.0
	if c.habit != nil {
		habit = c.habit(r)
	}
	s.by = newMaker(r, s.m, habit)
	s.lab = newLaboratory(r, c)
	s.odo = math.Round(between(40000, 180000)(r))
	if c.runIn {
		s.odo = 0
	}
	s.begin = s.odo
	s.register()
	o := s.live()
	if c.add != nil {
		c.add(o)
	}
	s.sample(o)
	sheet := Sheet{Cause: c, Number: k, Machine: s.m.name, Vehicle: s.vehicle, Component: s.m.component, Events: s.lines, Right: c.Right, Danger: c.Danger}
	for a, from := range c.DangerFrom {
		sheet.Danger = sheet.Danger || o.v[a] >= from
	}
	if s.lab.three {
		sheet.Right = slices.Concat(c.Right, c.ThreeMetals)
	}
	return sheet
}

// register registers the vehicle with its engine and its gearbox.
func (s *story) register() {
	other := gearbox
	if s.m == gearbox {
		other = diesel
	}
	line := "vehicle " + s.vehicle + " " + s.m.vehicle + " meter odometer"
	if s.c.runIn {
		line += " since " + s.date(0)
	}
	for _, m := range []*machine{s.m, other} {
		line += fmt.Sprintf(" component %s %q fluid %q capacity %g L", m.component, m.kind, m.fluid, m.litres)
	}
	s.tell(line)
}

// live gives the machine its past, and returns what is in its fluid as the sheet's
// sample is drawn, but for what the cause adds.
func (s *story) live() *oil {
	past := s.c.past
	if past == 0 && !s.c.runIn {
		past = []int{0, 0, 1, 3}[s.r.IntN(4)]
	}
	for range past {
		o := s.run(between(.8, 1.2)(s.r))
		s.sample(o)
		s.exchange(1)
	}
	if !s.c.runIn && s.c.past == 0 && s.r.Float64() < s.halves() {
		return s.halfDrained()
	}
	return s.run(math.Exp(between(math.Log(s.c.age[0]), math.Log(s.c.age[1]))(s.r)))
}

// halves is how often half of the fluid was drained on the way: a gearbox gives no more
// by its plug, of an engine somebody stopped the drain.
func (s *story) halves() float64 {
	if s.m == gearbox {
		return .3
	}
	return .1
}

// halfDrained has the fluid run, half of it exchanged and the whole run on, so that
// it is as old as one of the cause's ages, mixed.
func (s *story) halfDrained() *oil {
	mixed := between(s.c.age[0], s.c.age[1])(s.r)
	after := float64(mixed * between(.3, .6)(s.r))
	if len(s.lines) == 1 { // else the last sheet's fluid was just renewed
		s.exchange(1)
	}
	s.sample(s.run(2 * float64(mixed-after)))
	s.exchange(.5)
	s.mixed = true
	s.run(after)
	return ran(s.r, s.m, s.by, mixed) // what is made goes with the age, so half of an old fluid is one of half its age
}

// run lets the machine run for so many usual intervals.
func (s *story) run(ratio float64) *oil {
	s.odo = math.Round(s.odo + float64(ratio*s.m.usual))
	return ran(s.r, s.m, s.by, ratio)
}

// exchange renews a share of the fluid.
func (s *story) exchange(share float64) {
	how := fmt.Sprintf("filled %g L", share*s.m.litres)
	if s.m == gearbox && share == 1 {
		how += " flush" // a drain leaves the converter full
	}
	s.tell(fmt.Sprintf("service %s %q on %s odo %.0f %s", s.vehicle, s.m.task, s.m.component, s.odo, how))
}

// sample draws one, and says how old its fluid is where anybody knows.
func (s *story) sample(o *oil) {
	line := fmt.Sprintf("sample %s %s odo %.0f", s.vehicle, s.m.component, s.odo)
	if !s.mixed {
		line += fmt.Sprintf(" age %.0f km", o.ratio*s.m.usual)
	}
	s.tell(line + s.lab.print(s.r, o))
}

func (s *story) tell(line string) { s.lines = append(s.lines, s.date(s.odo)+" "+line) }

func (s *story) date(odo float64) string {
	days := int(max(odo-s.begin, 0) / kmADay)
	return time.Date(2031, 1, 2+days, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
}

func between(from, to float64) func(*rand.Rand) float64 {
	return func(r *rand.Rand) float64 { return from + float64((to-from)*r.Float64()) }
}
