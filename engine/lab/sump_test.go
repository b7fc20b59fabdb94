package lab

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The twin integrates V dC/dt = w + m (fresh - C) by the classical Runge-Kutta
// method of fourth order.
func TestSumpAgainstIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Sump{
			Volume: float64(rapid.IntRange(2, 40).Draw(t, "V")), MakeUp: float64(rapid.IntRange(0, 30).Draw(t, "m")) / 10,
			Wear: float64(rapid.IntRange(0, 500).Draw(t, "w")) / 10, Fresh: float64(rapid.IntRange(0, 30).Draw(t, "fresh")),
		}
		c, run := float64(rapid.IntRange(0, 300).Draw(t, "start")), float64(rapid.IntRange(0, 30).Draw(t, "t"))
		got := s.After(c, run)
		slope := func(c float64) float64 { return (s.Wear + s.MakeUp*(s.Fresh-c)) / s.Volume }
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
			if w := s.Made(c, got, run); math.Abs(w-s.Wear) > 1e-8*(1+s.Wear) {
				t.Fatalf("%+v: wear %v from its own course", s, w)
			}
		}
	})
}

// What came in equals what went out and what stayed: mass is conserved over
// lumped top-ups, of which the continuous course is the limit.
func TestSumpConservesMass(t *testing.T) {
	s := Sump{Volume: 8, MakeUp: 0.02, Wear: 3, Fresh: 5}
	c, out := 40.0, 0.0
	const steps = 100_000
	dt := 200.0 / steps
	for range steps {
		u := s.MakeUp * dt
		out += float64(c * u)
		c = c + s.Wear*dt/s.Volume + u*(s.Fresh-c)/s.Volume
	}
	in := s.Wear*200 + s.Fresh*s.MakeUp*200
	near(t, "mass balance", s.Volume*40+in-out, s.Volume*c, 1e-6)
	near(t, "limit of lumped top-ups", s.After(40, 200), c, 1e-3)
}

func TestSumpWithoutMakeUp(t *testing.T) {
	s := Sump{Volume: 8, Wear: 3, Fresh: 5}
	near(t, "C0 + wt/V", s.After(40, 200), 40+3*200/8.0, 1e-12)
	for _, m := range []float64{1e-300, 1e-18, 1e-12, 1e-10} {
		s.MakeUp = m
		near(t, "m to 0", s.After(40, 200), 115, 1e-6)
	}
	// For ever: the level at which wear and make-up balance.
	s.MakeUp = 0.02
	near(t, "equilibrium fresh + w/m", s.After(40, 1e9), 5+3/0.02, 1e-9)
}

func TestExchanges(t *testing.T) {
	tests := []struct {
		name                      string
		now, fresh, target, share float64
		up                        bool
		n                         int
		ok                        bool
	}{
		// Residual after n exchanges is (1-f)^n, elementary: for f = 0.35 it is .65
		// .4225 .27463 .17851 .11603, for f = 0.5 .5 .25 .125, for f = 0.85 .15 .0225.
		{"to 12 %", 100, 0, 12, 0.35, false, 5, true},
		{"to 18 %", 100, 0, 18, 0.35, false, 4, true},
		{"exactly reached", 100, 0, 12.5, 0.5, false, 3, true},
		{"to 2.25 %", 100, 0, 2.25, 0.85, false, 2, true},
		{"already there", 10, 0, 12, 0.35, false, 0, true},
		{"a whole exchange", 100, 0, 1, 1, false, 1, true},
		{"an additive comes back", 100, 300, 250, 0.5, true, 2, true},
		{"an additive is there", 310, 300, 250, 0.5, true, 0, true},
		{"above what fresh fluid holds", 100, 300, 301, 0.5, true, 0, false},
		{"below what fresh fluid holds", 100, 6, 5, 0.5, false, 0, false},
		{"share unknown", 100, 0, 5, nan, false, 0, false},
		{"nothing exchanged", 100, 0, 5, 0, false, 0, false},
	}
	for _, tt := range tests {
		n, ok := Sump{Volume: 8, Fresh: tt.fresh}.Exchanges(tt.now, tt.target, tt.share, tt.up)
		if n != tt.n || ok != tt.ok {
			t.Errorf("%s: %d, %v; want %d, %v", tt.name, n, ok, tt.n, tt.ok)
		}
	}
	if DilutionNote("Na") != "" || DilutionNote("Cu") == "" {
		t.Error("the note belongs to wear metals alone")
	}
}

// 100 mg/kg of sodium over 4 when fresh, half of the fluid a drain: 52, 28, 16, 10.
func TestExchangesTo(t *testing.T) {
	of := func(share float64) Sheet {
		return Sheet{Fresh: map[string]float64{"Na": 4, "P": 800}, History: History{
			{Exchange: true, Share: share}, {Results: []Result{{Analyte: "Na", Value: 100}, {Analyte: "P", Value: 200}}}}}
	}
	for _, c := range []struct {
		s       Sheet
		analyte string
		target  float64
		n       float64
		why     string
	}{
		{of(.5), "Na", 15, 4, ""},
		{of(.5), "Na", 100, 0, ""},
		{of(.5), "Na", 3, 0, "a target that exchanges can reach"},
		{of(.5), "P", 600, 2, ""}, // 500, 650: an additive goes up
		{of(nan), "Na", 15, 0, "an exchange of a known share, to reckon with"},
		{of(.5), "K", 15, 0, "K in the sample"},
	} {
		n, why, ok := c.s.ExchangesTo(c.analyte, c.target)
		if n != c.n || why != c.why || ok != (c.why == "") {
			t.Errorf("%s to %v: %v, %q", c.analyte, c.target, n, why)
		}
	}
}
