package lab

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

// ofAge is a sample of fluid that has run so far, with both numbers.
func ofAge(age, tbn, tan float64) Step {
	return Step{Distance: 1000 + age, Hours: nan, Age: nan, AgeHours: nan, Results: []Result{{Analyte: "TBN", Value: tbn}, {Analyte: "TAN", Value: tan}}}
}

// numbersAt are samples at these ages after all fluid was renewed.
func numbersAt(tbn, tan func(float64) float64, ages ...float64) History {
	h := History{exchange(1000, 1)}
	for _, a := range ages {
		h = append(h, ofAge(a, tbn(a), tan(a)))
	}
	return h
}

// A base number of 9 - 0.4 t and an acid number of 2 + 0.3 t cross at t = 10, by hand.
func TestAcidCrossing(t *testing.T) {
	falls := func(t float64) float64 { return 9 - 0.4*t }
	decay := func(t float64) float64 { return 9 * math.Exp(-0.1*t) }
	rises := func(t float64) float64 { return 2 + 0.3*t }
	// 9 e^-0.1t = 2 + 0.3 t, by Newton: t = 7.5018.
	at := 7.6
	for range 50 {
		at -= (decay(at) - rises(at)) / (-0.1*decay(at) - 0.3)
	}
	lost := func(h History, i int) History { h[i].Results = h[i].Results[:1]; return h }
	older := append(History{exchange(0, 1), ofAge(-500, 1, 8)}, numbersAt(falls, rises, 4, 6)...)
	unrecorded := History{aged(ofAge(0, 1, 8), 90), aged(ofAge(4, falls(4), rises(4)), 4), aged(ofAge(6, falls(6), rises(6)), 6)}
	for _, c := range []struct {
		name string
		h    History
		want AcidCrossing
		why  string
	}{
		{"lines", numbersAt(falls, rises, 2, 4, 6), AcidCrossing{4, false, false, 3}, ""},
		{"two samples", numbersAt(falls, rises, 4, 6), AcidCrossing{4, false, false, 2}, ""},
		{"a decay", numbersAt(decay, rises, 2, 4, 6), AcidCrossing{at - 6, false, true, 3}, ""},
		{"two samples of a decay make a line", numbersAt(decay, rises, 4, 6), AcidCrossing{(decay(6) - rises(6)) / ((decay(4)-decay(6))/2 + 0.3), false, false, 2}, ""},
		{"not in sight", numbersAt(falls, rises, 2, 4), AcidCrossing{4, true, false, 2}, ""},
		{"never", numbersAt(func(float64) float64 { return 9 }, func(float64) float64 { return 2 }, 2, 4, 6), AcidCrossing{6, true, false, 3}, ""},
		{"crossed", numbersAt(falls, rises, 2, 11), AcidCrossing{0, false, false, 2}, ""},
		{"crossed on the first sample", numbersAt(falls, rises, 11), AcidCrossing{0, false, false, 1}, ""},
		{"the fluid before does not count", older, AcidCrossing{4, false, false, 2}, ""},
		{"nor one that was changed unrecorded", unrecorded, AcidCrossing{4, false, false, 2}, ""},
		{"one between without its acid number", lost(numbersAt(falls, rises, 2, 4, 6), 2), AcidCrossing{4, false, false, 2}, ""},
		{"one sample", numbersAt(falls, rises, 6), AcidCrossing{}, "an earlier sample of this fluid with base number (TBN) and acid number (TAN)"},
		{"no acid number now", lost(numbersAt(falls, rises, 2, 4, 6), 3), AcidCrossing{}, "acid number (TAN) in the sample"},
		{"no age", History{ofAge(2, 8, 2), ofAge(4, 7, 3)}, AcidCrossing{}, "the fluid's age"},
		{"none", nil, AcidCrossing{}, "a sample"},
	} {
		got, why, ok := Sheet{History: c.h}.AcidCrossing(unit.Distance)
		if ok != (c.why == "") || why != c.why {
			t.Errorf("%s: %+v, %q", c.name, got, why)
		}
		if ok && (math.Abs(got.Further-c.want.Further) > 5e-4 || got.Beyond != c.want.Beyond || got.Decays != c.want.Decays || got.Samples != c.want.Samples) {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// Of a result below its limit both ends are asked: the lower end of the base number crosses.
func TestAcidCrossingBelow(t *testing.T) {
	h := numbersAt(func(t float64) float64 { return 9 - t }, func(t float64) float64 { return 1 + 0.1*t }, 2, 4, 6)
	h[3].Results[0] = Result{Analyte: "TBN", Value: 3, Censored: true}
	low := Sheet{History: h, Ends: func(_ int, r Result) float64 { return r.Span().Low }}
	high := Sheet{History: h, Ends: func(_ int, r Result) float64 { return r.Span().High }}
	a, _, ok1 := low.AcidCrossing(unit.Distance)
	b, _, ok2 := high.AcidCrossing(unit.Distance)
	if !ok1 || !ok2 || a.Further != 0 || !(b.Further > 0) {
		t.Errorf("%+v, %+v", a, b)
	}
}

// A base number that decays is forecast where it gets to, not where a line through it does:
// 10 e^(-age/50) from 10, 20 and 30 comes to 2 at 50 ln 5 = 80.47.
func TestStraightened(t *testing.T) {
	ages := []float64{10, 20, 30}
	var measures []float64
	for _, a := range ages {
		measures = append(measures, -10*math.Exp(-a/50))
	}
	straight, limit, _ := Straightened(ages, measures, -2, 0)
	c, ok := CrossingOf(ages, straight, limit, 0)
	near(t, "decay", c.Likely, 50*math.Log(5)-30, 1e-9)
	if !ok {
		t.Error("not crossed")
	}
	lines := []float64{-9, -8, -7}
	if s, l, off := Straightened(ages, lines, -2, 3); off != 3 || &s[0] != &lines[0] || l != -2 {
		t.Errorf("a line was bent: %v, %v", s, l)
	}
	for _, same := range [][]float64{{-9, -8}, {-9, -8, 0}, {-7, -8, -9}} {
		if s, _, _ := Straightened(ages[:len(same)], same, -2, 0); &s[0] != &same[0] {
			t.Errorf("%v was bent: %v", same, s)
		}
	}
}

// A decay is found again whatever its pace, and is never reached sooner than by a line
// through its last two samples.
func TestStraightenedProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pace := rapid.Float64Range(0.005, 0.1).Draw(t, "pace")
		ages := []float64{5, 15, 25, 30}
		var measures []float64
		for _, a := range ages {
			measures = append(measures, -12*math.Exp(-pace*a))
		}
		now := -measures[3]
		share := rapid.Float64Range(0.2, 0.9).Draw(t, "share")
		straight, limit, _ := Straightened(ages, measures, -share*now, 0)
		c, ok := CrossingOf(ages, straight, limit, 0)
		if want := -math.Log(share) / pace; !ok || math.Abs(c.Likely-want) > 1e-6*want {
			t.Fatalf("%+v, want %v", c, want)
		}
	})
}
