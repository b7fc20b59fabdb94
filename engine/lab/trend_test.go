package lab

import (
	"math"
	"testing"

	"telltale/rules/unit"
)

// Half drains at each sample: raw copper falls and rises, wear made climbs.
func TestWearTrend(t *testing.T) {
	var h History
	cu, at := 0.0, 0.0
	for i := range 6 {
		h = append(h, sample(at, cu), exchange(at, 0.5))
		at += 10_000
		cu = cu/2 + float64(10+i)
	}
	h = append(h, sample(at, cu))
	tr, why, ok := Sheet{History: h}.WearTrend("Cu", unit.Distance)
	if !ok {
		t.Fatal(why)
	}
	near(t, "slope of the rate", tr.Slope, 1.0/10_000/10_000, 1e-15)
	if tr.P > 0.01 {
		t.Errorf("p = %v of a rate that only rises", tr.P)
	}
	_, why, ok = Sheet{History: h[:3]}.WearTrend("Cu", unit.Distance)
	if want := "three samples with different rates of Cu"; ok || why != want {
		t.Errorf("of two samples: %v, %q; want %q", ok, why, want)
	}
}

// Another method, or another point of drawing, starts a new trend; what a sheet does
// not say is no other.
func TestAlike(t *testing.T) {
	by := func(method, point string) Step { return Step{Method: method, Point: point} }
	for _, tt := range []struct {
		h    History
		want int
	}{
		{nil, 0},
		{History{by("ICP", "drain"), by("", ""), by("ICP", "drain")}, 0},
		{History{by("RDE", "drain"), by("", ""), by("ICP", "drain")}, 1},
		{History{by("ICP", "drain"), by("ICP", "dipstick"), exchange(0, 1), by("", "dipstick")}, 1},
		{History{by("ICP", "drain"), by("ICP", "drain"), by("ICP", "dipstick")}, 2},
	} {
		if got := tt.h.Alike(); got != tt.want {
			t.Errorf("%v: alike from %d, want %d", tt.h, got, tt.want)
		}
	}
	var h History
	for i := range 7 {
		s := sample(float64(i)*1000, float64(i*i))
		s.Method = "ICP"
		if i < 2 {
			s.Method = "RDE"
		}
		h = append(h, s)
	}
	if _, rates := (Sheet{History: h}).Rates("Cu", unit.Distance); len(rates) != 4 {
		t.Errorf("%d rates of five samples by one method, want 4", len(rates))
	}
}

// US DoD JOAP manual TM 38-301-3: "Trend should always be based on ppm increase per
// 10 hour interval", 4 ppm abnormal for the iron of engine A; under 5 h subject to error.
func TestRatePer10h(t *testing.T) {
	h := History{timed(sample(nan, 12), 0), timed(sample(nan, 20), 20*3600)}
	rate, _, _, _ := Sheet{History: h}.Rate("Cu")
	near(t, "per 10 h", rate*10*3600, 4, 1e-12)
	for run, want := range map[float64]bool{5 * 3600: false, 4.9 * 3600: true, nan: false} {
		if got := (Sheet{History: History{timed(sample(nan, 12), 0), timed(sample(nan, 20), run)}}).ShortRun(); got != want {
			t.Errorf("a run of %v s is short: %v, want %v", run, got, want)
		}
	}
	if (Sheet{History: h[:1]}).ShortRun() {
		t.Error("the first sample has a short run")
	}
}

func TestDropped(t *testing.T) {
	metals := func(fe, cu, al float64) Step {
		return Step{Results: []Result{{Analyte: "Fe", Value: fe}, {Analyte: "Cu", Value: cu}, {Analyte: "Al", Value: al}, {Analyte: "P", Value: 300}}}
	}
	tests := []struct {
		name string
		h    History
		want bool
	}{
		{"all fell", History{metals(90, 40, 22), metals(20, 9, 5)}, true},
		{"one stayed", History{metals(90, 40, 22), metals(20, 40, 5)}, false},
		{"one rose", History{metals(90, 40, 22), metals(20, 9, 23)}, false},
		{"too little to fall", History{metals(90, 40, 0.3), metals(20, 9, 0.2)}, true},
		{"a drain is on record", History{metals(90, 40, 22), exchange(0, 1), metals(20, 9, 5)}, false},
		{"first sample", History{metals(20, 9, 5)}, false},
		{"two metals", History{sample(0, 90), with(sample(1, 20), Result{Analyte: "P", Value: 1})}, false},
	}
	for _, tt := range tests {
		got, why, ok := Sheet{History: tt.h}.Dropped()
		if got != tt.want || ok != (tt.name != "first sample") || ok != (why == "") {
			t.Errorf("%s: %v, want %v; %q, %v", tt.name, got, tt.want, why, ok)
		}
	}
}

// Two samples of iron at 90 and 100 mg/kg: ASTM D5185 from memory gives a
// repeatability of .13 x^.80 = 4.96 and a reproducibility of .52 x^.80 = 19.8 mg/kg.
func TestChangeIsReal(t *testing.T) {
	from := func(laboratory string, fe float64) Step {
		return Step{Laboratory: laboratory, Results: []Result{{Analyte: "Fe", Value: fe}}}
	}
	for _, c := range []struct {
		name string
		h    History
		want bool
		why  string
	}{
		{"one laboratory", History{from("valley", 90), from("valley", 100)}, true, ""},
		{"one laboratory, within its repeatability", History{from("valley", 96), from("valley", 100)}, false, ""},
		{"two laboratories", History{from("valley", 90), from("hill", 100)}, false, ""},
		{"no laboratory named", History{from("", 90), from("", 100)}, false, ""},
		{"two laboratories, far apart", History{from("valley", 60), from("hill", 100)}, true, ""},
		{"the first sample", History{from("valley", 60)}, false, "an earlier sample"},
		{"no iron before", History{{}, from("valley", 60)}, false, "iron (Fe) in the earlier sample"},
	} {
		got, why, ok := Sheet{History: c.h}.ChangeIsReal("Fe")
		if got != c.want || why != c.why || ok != (c.why == "") {
			t.Errorf("%s: %v, %q", c.name, got, why)
		}
	}
}

// Iron rises by 2 mg/kg in 1,000 km, with half drains between: the last of three
// samples holds 60 mg/kg, so 90 is 15,000 km away, whatever was drained.
func TestCrossingOf(t *testing.T) {
	for _, c := range []struct {
		name           string
		ages, measures []float64
		limit          float64
		want           Crossing
		ok             bool
	}{
		{"no drain", []float64{10e6, 20e6, 30e6}, []float64{20, 40, 60}, 90, Crossing{15e6, 15e6, 15e6, 2. / 3}, true},
		{"half drains", []float64{40e6, 20e6, 30e6}, []float64{80, 40, 60}, 90, Crossing{15e6, 15e6, 15e6, 2. / 3}, true},
		{"falling", []float64{10e6, 20e6, 30e6}, []float64{60, 40, 20}, 90, Crossing{}, false},
		{"reached", []float64{10e6, 20e6, 30e6}, []float64{20, 40, 90}, 90, Crossing{}, false},
		{"two samples", []float64{10e6, 20e6}, []float64{20, 40}, 90, Crossing{}, false},
		{"one age", []float64{10e6, 10e6, 10e6}, []float64{20, 40, 50}, 90, Crossing{}, false},
		{"hardly rising", []float64{10e6, 20e6, 30e6}, []float64{20, 19, 21}, 90, Crossing{69.0 / 2e-7, 69.0 / 5e-8, math.Inf(1), 2. / 3}, true},
		// Slopes from 1 to 2 mg/kg in 1,000 km, in the middle 1.8333: that line stands at the
		// median of 75, 76.6667, 78.3333 and 70 now, 5.8333 over the last.
		{"the last is low", []float64{10e6, 20e6, 30e6, 40e6}, []float64{20, 40, 60, 70}, 90, Crossing{(20 - 5.8333333333) / 2e-6, 20 / 1.83333333333e-6, 20 / 1e-6, 11. / 12}, true},
		{"and near the limit", []float64{10e6, 20e6, 30e6, 40e6}, []float64{20, 40, 60, 70}, 75, Crossing{0, 5 / 1.83333333333e-6, 5 / 1e-6, 11. / 12}, true},
		// The last lies over its line, at 82.0833.
		{"the last is high", []float64{10e6, 20e6, 30e6, 40e6}, []float64{20, 40, 60, 85}, 90, Crossing{5 / 2.5e-6, 5 / 2.0833333333e-6, 5 / 2e-6, 11. / 12}, true},
		// The line stands 20 over the last, more than a result can be off.
		{"much lower", []float64{10e6, 30e6, 20e6}, []float64{20, 60, 20}, 90, Crossing{(70 - 8) / 4e-6, 70 / 2e-6, math.Inf(1), 2. / 3}, true},
	} {
		got, ok := CrossingOf(c.ages, c.measures, c.limit, 8)
		near := func(a, b float64) bool { return a == b || math.Abs(a-b) < 1e-6*math.Abs(b) }
		if ok != c.ok || !near(got.Low, c.want.Low) || !near(got.Likely, c.want.Likely) || !near(got.High, c.want.High) || got.Sure != c.want.Sure {
			t.Errorf("%s: %v, %v", c.name, got, ok)
		}
	}
}
