package lab

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

// What is reckoned by hand: oil twice as old as the group's, with some silicon in it when
// new, and three earlier samples of its own.
func TestExcess(t *testing.T) {
	silicon := func(s Step, si float64) Step {
		s.Results = []Result{{Analyte: "Si", Value: si}}
		return s
	}
	h := History{
		silicon(aged(sample(100, 0), 100), 15), exchange(100, 1), // 10 beyond fresh in 100
		silicon(sample(200, 0), 25), exchange(200, 1), // 20
		silicon(sample(300, 0), 20), exchange(300, 1), // 15
		silicon(sample(500, 0), 65),
	}
	s := Sheet{History: h, Fresh: map[string]float64{"Si": 5}}
	past := PastOf(h)
	own := past.Of("Si", 5)
	if want := (Own{Span{30, 30}, 3}); own != want { // 15 in 100, and the oil has run 200
		t.Fatalf("own past %v, want %v", own, want)
	}
	e, why, ok := s.Excess("Si", &Norm{Mean: 15, SD: 3, Age: 100, Kind: unit.Distance}, own.Span.High, own.Samples)
	if !ok {
		t.Fatal(why)
	}
	// The group makes 10 in 100 and so 20 in 200; three samples weigh 3 to 2: 26.
	want := Excess{Value: 65, Fresh: 5, Usual: 26, Excess: 34, Group: 20, Older: 2, Own: 30, Samples: 3}
	want.Error = math.Hypot(2.9*math.Pow(65, 0.39)/math.Sqrt2, normal95*0.3*26) // ASTM D5185 from memory; 3 of 10 is the spread
	if math.Abs(e.Error-want.Error) > 1e-12 {
		t.Errorf("error %v, want %v", e.Error, want.Error)
	}
	if e.Error = want.Error; e != want {
		t.Errorf("got %+v, want %+v", e, want)
	}
	if !e.Real() {
		t.Error("34 is more than 18.6")
	}
}

func TestExcessOfWhatIsMissing(t *testing.T) {
	s := Sheet{History: History{sample(100, 3), sample(200, 5)}}
	for _, tt := range []struct {
		analyte string
		norm    *Norm
		own     int
		why     string
	}{
		{"Pb", &Norm{Mean: 4}, 0, "lead (Pb) in the sample"},
		{"Cu", nil, 1, "an earlier sample or two"},
		{"Cu", nil, 2, ""},
		{"Cu", &Norm{Mean: 4}, 0, ""},
	} {
		if _, why, ok := s.Excess(tt.analyte, tt.norm, 3, tt.own); why != tt.why || ok != (why == "") {
			t.Errorf("%s of %v with %d: %q, want %q", tt.analyte, tt.norm, tt.own, why, tt.why)
		}
	}
}

// At trace level the method accounts for a multiple of what is usual: lead and tin of 1
// mg/kg are no excess, however little is usual.
func TestTraceIsNoExcess(t *testing.T) {
	for _, metal := range []string{"Pb", "Sn"} {
		h := History{{Results: []Result{{Analyte: metal, Value: 1}}, Distance: 100, Age: nan, AgeHours: nan}}
		e, why, ok := Sheet{History: h}.Excess(metal, &Norm{Mean: 0.1}, 0, 0)
		if !ok || e.Real() {
			t.Errorf("%s: %+v %s", metal, e, why)
		}
	}
}

func TestExcessProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(name string) float64 { return float64(rapid.IntRange(1, 500).Draw(t, name)) }
		fresh, mean, age, run, value := number("fresh"), number("mean"), number("age"), number("run"), number("value")
		own, samples := number("own"), rapid.IntRange(0, 9).Draw(t, "samples")
		of := func(value, run float64) Excess {
			h := History{aged(sample(run, value), run)}
			e, why, ok := Sheet{History: h, Fresh: map[string]float64{"Cu": fresh}}.Excess("Cu", &Norm{Mean: fresh + mean, Age: age, Kind: unit.Distance}, own, samples)
			if !ok {
				t.Fatal(why)
			}
			return e
		}
		e := of(value, run)
		if got := e.Fresh + e.Usual + e.Excess; math.Abs(got-value) > 1e-9 {
			t.Fatalf("the terms add up to %v, not to %v: %+v", got, value, e)
		}
		if more := of(value+1, run); !(more.Excess > e.Excess) {
			t.Fatalf("more metal is no more excess: %+v, %+v", e, more)
		}
		if older := of(value, 2*run); older.Excess > e.Excess+1e-9 {
			t.Fatalf("the older fluid has the larger excess: %+v, %+v", e, older)
		}
		low, high := math.Min(e.Group, e.Own), math.Max(e.Group, e.Own)
		if samples > 0 && (e.Usual < low-1e-9 || e.Usual > high+1e-9) {
			t.Fatalf("what is usual is outside group and own past: %+v", e)
		}
		if samples == 0 && e.Usual != e.Group {
			t.Fatalf("without a past the group counts: %+v", e)
		}
	})
}
