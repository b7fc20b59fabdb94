package lab

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"

	"telltale/rules/unit"
)

// NIST/SEMATECH e-Handbook 6.3.2.4: twenty values from a centre of 50 with weight 0.3, each
// EWMA as printed; with s 2.0539 and k 3 the limits are 52.5884 and 47.4115, no signal.
// NIST cuts off what it prints, so that the last digit may be one off.
func TestEWMANIST(t *testing.T) {
	values, printed := numbers(t, "nist_ewma.csv", 1), numbers(t, "nist_ewma.csv", 2)
	width := 3 * 2.0539 * ewmaSpread(0.3, 1000)
	near(t, "upper", 50+width, 52.5884, 1e-4)
	near(t, "lower", 50-width, 47.4115, 1e-4)
	for i, z := range EWMA(values, 50, 0.3) {
		near(t, "EWMA", z, printed[i], 0.0101)
		if math.Abs(z-50) > width {
			t.Errorf("a signal at %d", i+1)
		}
	}
	near(t, "spread of one", ewmaSpread(0.3, 1), 0.3, 1e-12)
}

// NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959: both sums as printed,
// the upper one out from the 14th group on, 3.0075 at 13 and 19.04 at 20.
func TestCUSUMNIST(t *testing.T) {
	values := numbers(t, "nist_cusum.csv", 1)
	high, low := numbers(t, "nist_cusum.csv", 2), numbers(t, "nist_cusum.csv", 3)
	up := CUSUM(values, 325, 0.3175)
	mirrored := make([]float64, len(values))
	for i, v := range values {
		mirrored[i] = -v
	}
	down := CUSUM(mirrored, -325, 0.3175)
	for i := range values {
		near(t, "high", up[i], high[i], 0.00501)
		near(t, "low", down[i], low[i], 0.00501)
		if out := up[i] > 4.1959; out != (i >= 13) {
			t.Errorf("at %d out is %v", i+1, out)
		}
	}
	near(t, "high at 13", up[12], 3.0075, 1e-9)
	near(t, "high at 14", up[13], 4.94, 1e-9)
}

// EPA 530/R-09-007 example 20-1, nickel: a baseline of eight with mean 25.1375 and deviation
// 11.5182; the last of eight compliance values, 81.8, lies 4.919 deviations over it, and
// the sum with a slack of one is 3.919 there, under the limit of five.
func TestCUSUMEPA(t *testing.T) {
	ppb := numbers(t, "epa_20_1_nickel.csv", 3)
	mean, sd := stat.MeanStdDev(ppb[:8], nil)
	near(t, "mean", mean, 25.1375, 5e-5)
	near(t, "sd", sd, 11.5182, 5e-5)
	sums := CUSUM(ppb[8:], mean, slackOfCUSUM*sd)
	near(t, "sum at the last", sums[7]/sd, 3.919, 5e-4)

	s := ratesOf(ppb...)
	c, why, ok := s.CUSUMOf("Ca")
	if !ok || c.Out() || c.First != 8 || c.After != 8 {
		t.Fatalf("%+v, %q", c, why)
	}
	near(t, "of the sheet", 5*c.Value/c.Limit, 3.919, 5e-4)
	near(t, "its centre", c.Centre*1000, 25.1375, 5e-5)
}

// ratesOf is a component that made as much calcium, and titanium, in each 1,000 m: by one
// laboratory, whose method for calcium is far more exact than these rates scatter.
func ratesOf(rates ...float64) Sheet {
	at, ca := 0.0, 0.0
	step := func() Step {
		return Step{Distance: at, Hours: nan, Age: nan, AgeHours: nan, Laboratory: "valley", Results: []Result{{Analyte: "Ca", Value: ca}, {Analyte: "Ti", Value: ca}}}
	}
	h := History{step()}
	for _, r := range rates {
		at, ca = at+1000, ca+r
		h = append(h, step())
	}
	return Sheet{History: h}
}

func TestShift(t *testing.T) {
	first := []float64{10, 12, 9, 11, 10, 12, 9, 11}
	more := func(rates ...float64) Sheet { return ratesOf(append(first[:8:8], rates...)...) }
	for _, c := range []struct {
		name        string
		s           Sheet
		ewma, cusum bool
		why         string
	}{
		{"as before", more(10, 12, 9, 11), false, false, ""},
		{"two deviations more, once", more(13), false, false, ""},
		{"three deviations more, for seven samples", more(14, 14, 14, 14, 14, 14, 14), true, true, ""},
		{"far more, once", more(20), true, true, ""},
		{"less", more(5, 5, 5, 5, 5), false, false, ""},
		{"eight samples with a rate", ratesOf(first...), false, false, "eight earlier samples with a rate of Ca"},
		{"none", Sheet{}, false, false, "a sample"},
	} {
		e, why, ok := c.s.EWMAOf("Ca")
		u, why2, _ := c.s.CUSUMOf("Ca")
		if e.Out() != c.ewma || u.Out() != c.cusum || why != c.why || why2 != c.why || ok != (c.why == "") {
			t.Errorf("%s: %+v (%v), %+v, %q", c.name, e, e.Out(), u, why)
		}
	}
	flat := ratesOf(0, 0, 0, 0, 0, 0, 0, 0, 0.001)
	if e, _, ok := flat.EWMAOf("Ti"); !ok || e.Out() {
		t.Errorf("what the method alone makes is a signal: %+v", e)
	}
	if e, _, _ := flat.EWMAOf("Ti"); e.Per != unit.Distance {
		t.Errorf("per %v", e.Per)
	}
}

// What the charts say of components that stay as they were, and of those whose rate rises by
// two deviations after the first eight, up to twenty samples with a rate: a fixed seed, so
// that a change of the limits shows here.
func TestShiftsFound(t *testing.T) {
	const n = 4000
	r := rand.New(rand.NewPCG(1, 2))
	signals := func(by float64) (ewma, cusum, once float64) {
		for range n {
			var e, u, o bool
			rates := make([]float64, 20)
			for i := range rates {
				rates[i] = 1000 + 40*r.NormFloat64()
				if i >= 8 {
					rates[i] += 40 * by
				}
			}
			mean, sd := stat.MeanStdDev(rates[:8], nil)
			for i := 9; i <= 20; i++ {
				after := rates[8:i]
				z, s := EWMA(after, mean, ewmaWeight), CUSUM(after, mean, slackOfCUSUM*sd)
				e = e || z[len(z)-1] > mean+ewmaReach(8)*sd*math.Hypot(ewmaSpread(ewmaWeight, len(after)), 1/math.Sqrt(8))
				u = u || s[len(s)-1] > limitOfCUSUM*sd
				o = o || bandOf(rates[:i-1]).Upper < rates[i-1]
			}
			for at, so := range map[*float64]bool{&ewma: e, &cusum: u, &once: o} {
				if so {
					*at++
				}
			}
		}
		return 100 * ewma / n, 100 * cusum / n, 100 * once / n
	}
	ewma, cusum, once := signals(0)
	t.Logf("of components that stay: EWMA %.1f %%, CUSUM %.1f %%, single values %.1f %%", ewma, cusum, once)
	if ewma > 3 || cusum > 6 {
		t.Errorf("of components that stay as they were, EWMA signals on %.1f %%, CUSUM on %.1f %%", ewma, cusum)
	}
	ewma, cusum, once = signals(2)
	t.Logf("of components that rise by two deviations: EWMA %.1f %%, CUSUM %.1f %%, single values %.1f %%", ewma, cusum, once)
	if ewma < 70 || cusum < 70 {
		t.Errorf("of components that rise by two deviations, EWMA signals on %.1f %%, CUSUM on %.1f %%", ewma, cusum)
	}
}
