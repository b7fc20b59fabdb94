package lab

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

// toppedUp is a drain of all fluid at 0 between two samples, then n top-ups of a share
// each, evenly over a run, and a sample of iron at its end.
func toppedUp(n int, share, run, iron float64) History {
	h := History{
		{Results: []Result{{Analyte: "Fe", Value: 77}}, Age: nan, AgeHours: nan, Hours: nan},
		{Exchange: true, Share: 1, Hours: nan},
	}
	for i := 1; i <= n; i++ {
		h = append(h, Step{Exchange: true, TopUp: true, Share: share, Distance: float64(i) * run / float64(n), Hours: nan})
	}
	return append(h, Step{Results: []Result{{Analyte: "Fe", Value: iron}}, Distance: run, Age: nan, AgeHours: nan, Hours: nan})
}

// 0.3 L in 1,000 km, topped up in a sump of 8 L, hide 24 % of the iron that is made in
// 15,000 km: the sheet shows (1 - e^-x)/x = 0.765 of it, x = 0.3 × 15 / 8 (elementary mass
// balance of a sump that is kept full). Topped up litre by litre it is less than 1 % off.
func TestTopUpsHideIron(t *testing.T) {
	x := 0.3 * 15 / 8.0
	shown := -math.Expm1(-x) / x
	if math.Abs(shown-0.765) > 0.0005 {
		t.Fatalf("the sheet shows %v", shown)
	}
	h := toppedUp(15, 0.3/8, 15e6, 100*shown)
	s := Sheet{History: h}
	made, why, ok := s.Made("Fe")
	if !ok || math.Abs(made-100) > 1 {
		t.Errorf("made %v %s, wanted 100", made, why)
	}
	if left, _, _ := s.Carried("Fe"); left != 0 {
		t.Errorf("the drain left %v", left)
	}
	if rate, _, ok := s.RateBy("Fe", unit.Distance); !ok || math.Abs(rate*15e6-100) > 1 {
		t.Errorf("rate %v in 15,000 km, wanted 100", rate*15e6)
	}
	if latest := h.before(len(h)-1, true); latest != 1 {
		t.Errorf("the latest exchange is step %d, not the drain", latest)
	}
	if Masked(h, 0, Ages{10e6, nan}, 0) {
		t.Error("15,000 km after the drain a top-up masks what was seen at 10,000 km")
	}
	// The age mixes over each top-up: 1,000 km × (q + q² + … + q^15), q = 1 - 0.3/8.
	q := 1 - 0.3/8
	if age, want := h.Ages(len(h)-1).Distance, 1e6*q*(1-math.Pow(q, 15))/(1-q); math.Abs(age-want) > 1 {
		t.Errorf("the fluid's age is %v, wanted %v", age, want)
	}
}

// Many small top-ups come to the sump that is kept full, whatever it starts from.
func TestTopUpsTendToFullSump(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n, run = 4000, 10e6
		s := fullSump{volume: float64(rapid.IntRange(2, 40).Draw(t, "V")), wear: float64(rapid.IntRange(1, 500).Draw(t, "w")) / run,
			fresh: float64(rapid.IntRange(0, 30).Draw(t, "fresh"))}
		litres := float64(rapid.IntRange(1, 50).Draw(t, "litres")) / 5
		s.makeUp = litres / run
		h := toppedUp(n, litres/n/s.volume, run, s.after(s.fresh, run))
		sheet := Sheet{History: h, Fresh: map[string]float64{"Fe": s.fresh}}
		made, why, ok := sheet.Made("Fe")
		if want := s.wear * run / s.volume; !ok || math.Abs(made-want) > 1e-3*(want+s.fresh) {
			t.Fatalf("made %v %s, wanted %v", made, why, want)
		}
		rate, _, _ := sheet.RateBy("Fe", unit.Distance)
		if math.Abs(rate*run-made) > 1e-9*(1+made) {
			t.Fatalf("made %v, and at a rate of %v", made, rate*run)
		}
	})
}

// The twin keeps litres and milligrams: fluid is lost drop by drop, what wears goes into
// what is there, and a top-up fills the sump.
func TestTopUpAgainstLevel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const drops, run = 20_000, 10e6
		n, litres := rapid.IntRange(1, 6).Draw(t, "n"), float64(rapid.IntRange(0, 30).Draw(t, "litres each"))/10
		wear := float64(rapid.IntRange(1, 900).Draw(t, "made"))
		level, iron := 8.0, 0.0
		for range n {
			for range drops {
				iron += wear * 8 / float64(n*drops)
				iron *= 1 - litres/drops/level
				level -= litres / drops
			}
			level = 8
		}
		made, _, _ := Sheet{History: toppedUp(n, litres/8, run, iron/8)}.Made("Fe")
		if math.Abs(made-wear) > 1e-3*wear {
			t.Fatalf("made %v, wanted %v", made, wear)
		}
	})
}

// With a top-up alone between two samples the rate stands on what it left of the first.
func TestRateOverTopUp(t *testing.T) {
	at := func(m float64, analyte string, v float64) Step {
		return Step{Distance: m, Hours: nan, Age: nan, AgeHours: nan, Results: []Result{{Analyte: analyte, Value: v}}}
	}
	top := Step{Exchange: true, TopUp: true, Share: 0.25, Distance: 10e6, Hours: nan}
	rate, _, ok := Sheet{History: History{at(0, "Fe", 100), top, at(10e6, "Fe", 75)}}.RateBy("Fe", unit.Distance)
	if !ok || rate != 0 {
		t.Errorf("nothing was made, and the rate is %v %v", rate, ok)
	}
	if rate, _, ok := (Sheet{History: History{at(0, "soot", 1), top, at(10e6, "soot", 2)}}).RateBy("soot", unit.Distance); !ok || rate != 1/10e6 {
		t.Errorf("without fresh fluid's content the rate is %v %v", rate, ok)
	}
	if _, why, ok := (Sheet{History: History{at(0, "Fe", 100), top, at(10e6, "Fe", 75)}}).Made("Fe"); ok || why != "an exchange before the sample" {
		t.Errorf("a top-up is taken for the exchange that made counts from: %s", why)
	}
}

// What wears on as before is what is expected, though all is drained and fluid topped up.
func TestExpectedOverTopUps(t *testing.T) {
	const n, run = 4000, 10e6
	s := fullSump{volume: 8, makeUp: 3 / run, wear: 400 / run}
	first := toppedUp(n, 3.0/n/8, run, s.after(0, run))
	second := toppedUp(n, 3.0/n/8, run, s.after(0, run))[1:]
	for i := range second {
		second[i].Distance += run
	}
	sheet := Sheet{History: append(first, second...)}
	value, _, _ := sheet.Value("Fe")
	if expected, why, ok := sheet.Expected("Fe"); !ok || math.Abs(expected-value) > 1e-3*value {
		t.Errorf("expected %v %s, found %v", expected, why, value)
	}
}
