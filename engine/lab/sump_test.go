package lab

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

// fullSump is a volume of fluid in which a component wears, and which is kept full:
// what it consumes is topped up with fresh fluid.
type fullSump struct {
	volume float64 // litres, all the fluid in the circuit
	makeUp float64 // litres consumed and topped up, per metre (or second); 0 for none
	wear   float64 // mg/kg × litres made, per metre (or second)
	fresh  float64 // mg/kg in the fresh fluid
}

// after returns the concentration after a run of t metres (or seconds) from
// start, by the mass balance V dC/dt = w + m (fresh - C):
//
//	C(t) = C0 e^(-mt/V) + (fresh + w/m) (1 - e^(-mt/V)), and C0 + wt/V without make-up.
//
// The consumed fluid is taken to leave with all it holds (it leaks or is thrown
// out); what evaporates leaves metal behind. Elementary mass balance; no
// published worked example found.
func (s fullSump) after(start, t float64) float64 {
	x := s.makeUp * t / s.volume
	gone := -math.Expm1(-x) // the part of the first fluid that was replaced
	// gone/x tends to 1; both lose their digits to cancellation if written as above.
	worn := 1.0
	if x != 0 {
		worn = gone / x
	}
	return float64(start*(1-gone)) + float64(s.fresh*gone) + float64(s.wear*t/s.volume*worn)
}

// made returns the wear, in mg/kg × litres per metre (or second), that took the
// concentration from start to end over a run of t: the inverse of [fullSump.after].
// s.wear is not read.
func (s fullSump) made(start, end, t float64) float64 {
	s.wear = 0
	none := s.after(start, t)
	s.wear = 1
	return (end - none) / (s.after(start, t) - none)
}

// The twin integrates V dC/dt = w + m (fresh - C) by the classical Runge-Kutta
// method of fourth order.
func TestSumpAgainstIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := fullSump{
			volume: float64(rapid.IntRange(2, 40).Draw(t, "V")), makeUp: float64(rapid.IntRange(0, 30).Draw(t, "m")) / 10,
			wear: float64(rapid.IntRange(0, 500).Draw(t, "w")) / 10, fresh: float64(rapid.IntRange(0, 30).Draw(t, "fresh")),
		}
		c, run := float64(rapid.IntRange(0, 300).Draw(t, "start")), float64(rapid.IntRange(0, 30).Draw(t, "t"))
		got := s.after(c, run)
		slope := func(c float64) float64 { return (s.wear + s.makeUp*(s.fresh-c)) / s.volume }
		const steps = 400
		step := run / steps
		want := c
		for range steps {
			k1 := slope(want)
			k2 := slope(want + step/2*k1)
			k3 := slope(want + step/2*k2)
			k4 := slope(want + step*k3)
			want += step / 6 * (k1 + 2*k2 + 2*k3 + k4)
		}
		if math.Abs(got-want) > 1e-6*(1+want) {
			t.Fatalf("%+v from %v over %v: %v, integrated %v", s, c, run, got, want)
		}
		if run > 0 {
			if w := s.made(c, got, run); math.Abs(w-s.wear) > 1e-8*(1+s.wear) {
				t.Fatalf("%+v: wear %v from its own course", s, w)
			}
		}
	})
}

// What came in equals what went out and what stayed: mass is conserved over
// lumped top-ups, of which the continuous course is the limit.
func TestSumpConservesMass(t *testing.T) {
	s := fullSump{volume: 8, makeUp: 0.02, wear: 3, fresh: 5}
	c, out := 40.0, 0.0
	const steps = 100_000
	dt := 200.0 / steps
	for range steps {
		u := s.makeUp * dt
		out += float64(c * u)
		c = c + s.wear*dt/s.volume + u*(s.fresh-c)/s.volume
	}
	in := s.wear*200 + s.fresh*s.makeUp*200
	near(t, "mass balance", s.volume*40+in-out, s.volume*c, 1e-6)
	near(t, "limit of lumped top-ups", s.after(40, 200), c, 1e-3)
}

func TestSumpWithoutMakeUp(t *testing.T) {
	s := fullSump{volume: 8, wear: 3, fresh: 5}
	near(t, "C0 + wt/V", s.after(40, 200), 40+3*200/8.0, 1e-12)
	for _, m := range []float64{1e-300, 1e-18, 1e-12, 1e-10} {
		s.makeUp = m
		near(t, "m to 0", s.after(40, 200), 115, 1e-6)
	}
	// For ever: the level at which wear and make-up balance.
	s.makeUp = 0.02
	near(t, "equilibrium fresh + w/m", s.after(40, 1e9), 5+3/0.02, 1e-9)
}

// The words know top-ups one by one. As they become small and many, what was carried
// over, the rate and the wear made tend to the continuous course: of a sump in which
// 0.3 L of 8 L are topped up in 1,000 km, the rate over 3,000 km is that of the wear.
func TestTopUpsAgainstSump(t *testing.T) {
	s := fullSump{volume: 8, makeUp: 0.3e-6, wear: 16e-6, fresh: 4} // per metre
	const run = 3e6
	for _, c := range []struct {
		topUps int
		tol    float64
	}{{1, 0.11}, {10, 0.011}, {100, 0.0011}} {
		h := History{sample(0, 40)}
		each := run / float64(c.topUps)
		for i := range c.topUps {
			h = append(h, exchange(float64(i+1)*each, s.makeUp*each/s.volume))
		}
		h = append(h, sample(run, s.after(40, run)))
		sheet := Sheet{History: h, Fresh: map[string]float64{"Cu": 4}}
		rate, why, ok := sheet.RateBy("Cu", unit.Distance)
		if !ok {
			t.Fatal(why)
		}
		near(t, "rate", rate*1e6, 2, 2*c.tol)
		carried, _, _ := sheet.Carried("Cu")
		none := s
		none.wear = 0
		near(t, "carried", carried, none.after(40, run), 40*c.tol)
	}
}
