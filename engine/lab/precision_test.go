package lab

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// ASTM D445-26 17.2.2, used formulated oils, as quoted in public files; the
// values follow from its formulas: 12.5 mm2/s at 100 degC r 0.040 R 0.135, 46 at
// 40 degC r 0.170 R 0.434, 100 at 40 degC r 0.648 R 1.651.
func TestPrecisionD445(t *testing.T) {
	for _, tt := range []struct {
		analyte string
		x, r, R float64
	}{{"KV100", 12.5, .040, .135}, {"KV40", 46, .170, .434}, {"KV40", 100, .648, 1.651}} {
		p := PrecisionOf(tt.analyte)
		near(t, tt.analyte+" r", p.Limit(tt.x, true), tt.r, 6e-4)
		near(t, tt.analyte+" R", p.Limit(tt.x, false), tt.R, 6e-4)
	}
}

func TestReal(t *testing.T) {
	tests := []struct {
		analyte string
		a, b    float64
		same    bool
		want    bool
	}{
		// By the values of D5185 that are from memory: 0.12 × 100^0.91 = 7.9, 0.24 × 100 = 24.
		{"Cu", 96, 104, true, true}, {"Cu", 97, 103, true, false},
		{"Cu", 87, 113, false, true}, {"Cu", 89, 111, false, false},
		// The default: 10 % and 20 %, at least 1.
		{"Ti", 94, 106, true, true}, {"Ti", 96, 104, true, false},
		{"Ti", 89, 111, false, true}, {"Ti", 91, 109, false, false},
		{"Ti", 0.5, 1.4, true, false}, {"Ti", 0, 1.1, true, true},
	}
	for _, tt := range tests {
		if got := Real(tt.analyte, tt.a, tt.b, tt.same); got != tt.want {
			t.Errorf("Real(%s, %v, %v, %v) = %v", tt.analyte, tt.a, tt.b, tt.same, got)
		}
	}
}

// Every value says where it is from.
func TestPrecisionTable(t *testing.T) {
	for name, p := range precisions {
		if name != "default" && !analytes.Known(name) {
			t.Errorf("%s is no analyte", name)
		}
		if !strings.Contains(p.Source, "ASTM") && !strings.Contains(p.Source, "default") {
			t.Errorf("%s: source %q", name, p.Source)
		}
	}
	if _, ok := precisions["default"]; !ok {
		t.Error("no default")
	}
}

// Iron of 100 mg/kg repeats within .13 x^.80 = 5.18 (ASTM D5185, from memory); three
// analyses within 3.3/2.8 of that.
func TestRepeated(t *testing.T) {
	fe := func(v float64) Result { return Result{Analyte: "Fe", Value: v} }
	under := func(v float64) Result { return Result{Analyte: "Fe", Value: v, Censored: true} }
	over := func(v float64) Result { return Result{Analyte: "Fe", Value: v, Above: true} }
	for _, tt := range []struct {
		rs   []Result
		want string
	}{
		{[]Result{fe(98), fe(102)}, "{Fe 100 false false}"},
		{[]Result{fe(97), fe(103)}, "2 analyses lie 6 apart, more than the 5.18 that the method allows one laboratory; ask for a third"},
		{[]Result{fe(97), fe(100), fe(103)}, "{Fe 100 false false}"},
		{[]Result{fe(103.2), fe(96.8), fe(99)}, "{Fe 99 false false} 3 analyses lie 6.4 apart, more than the 6.08 that the method allows one laboratory; the median is taken"},
		{[]Result{fe(90), fe(96), fe(98), fe(120)}, "{Fe 97 false false} 4 analyses lie 30 apart, more than the 6.71 that the method allows one laboratory; the median is taken"},
		{[]Result{fe(96.8), fe(100), fe(100), fe(100), fe(100), fe(100), fe(103.2)}, "{Fe 100 false false}"},
		{[]Result{under(5), under(2)}, "{Fe 2 true false}"},
		{[]Result{over(500), over(1000)}, "{Fe 1000 false true}"},
		{[]Result{under(5), fe(4)}, "of 2 analyses some gave a value and some a limit; ask the laboratory"},
		{[]Result{over(500), fe(490), fe(480)}, "of 3 analyses some gave a value and some a limit; ask the laboratory"},
	} {
		r, apart, err := Repeated(tt.rs)
		got := strings.TrimSpace(fmt.Sprint(r, " ", apart))
		if err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("%v: %s, want %s", tt.rs, got, tt.want)
		}
	}
}

// Against drawing errors: of results that scatter as the method lets them, 95 in 100
// give what was made within its stated uncertainty.
func TestMadeErrorCovers(t *testing.T) {
	const before, share, made, draws = 131.0, 0.6, 30.0, 20_000
	r := rand.New(rand.NewPCG(1, 2))
	in := func(cu float64) Step {
		s := sample(nan, cu+r.NormFloat64()*PrecisionOf("Cu").Limit(cu, true)/1.96/math.Sqrt2)
		s.Laboratory = "valley"
		return s
	}
	covered := 0
	for range draws {
		s := Sheet{History: History{in(before), exchange(nan, share), in((1-share)*before + made)}}
		got, _, _ := s.Made("Cu")
		within, _, ok := s.MadeError("Cu")
		if !ok {
			t.Fatal("no uncertainty")
		}
		if math.Abs(got-made) <= within {
			covered++
		}
	}
	near(t, "covered", float64(covered)/draws, 0.95, 0.006)
}

// With nothing exchanged, two results of one laboratory differ by its repeatability:
// of copper at 100 mg/kg .12 x^.91 = 7.93 (ASTM D5185, from memory).
func TestRateError(t *testing.T) {
	h := History{sample(0, 100), sample(10_000, 100)}
	h[0].Laboratory, h[1].Laboratory = "valley", "valley"
	s := Sheet{History: h}
	within, why, ok := s.RateError("Cu", unit.Distance)
	if !ok {
		t.Fatal(why)
	}
	near(t, "per 10 km", within*10_000, 0.12*math.Pow(100, 0.91), 1e-9)
	h[0].Laboratory = "hill"
	within, _, _ = s.RateError("Cu", unit.Distance)
	near(t, "of two laboratories", within*10_000, 24, 1e-9)
	if _, why, ok := s.MadeError("Cu"); ok || why != "an exchange before the sample" {
		t.Errorf("made without an exchange: %q, %v", why, ok)
	}
	if _, why, ok := s.MadeIsReal("Cu"); ok || why != "an exchange before the sample" {
		t.Errorf("made without an exchange: %q, %v", why, ok)
	}
	if _, why, ok := s.RateError("Cu", unit.Time); ok || why != "a run since the earlier sample" {
		t.Errorf("by hours: %q, %v", why, ok)
	}
}

// A whole exchange leaves nothing of the error of the sample before.
func TestMadeIsReal(t *testing.T) {
	for _, tt := range []struct {
		share, cu float64
		want      bool
	}{
		{1, 10, true}, {0.5, 75, true}, {0.5, 62, false}, {0.5, 35, true},
	} {
		s := Sheet{History: History{sample(0, 100), exchange(0, tt.share), sample(1, tt.cu)}}
		if got, why, ok := s.MadeIsReal("Cu"); got != tt.want || !ok {
			within, _, _ := s.MadeError("Cu")
			t.Errorf("%v left, %v found: real %v, want %v (± %v) %s", 100*(1-tt.share), tt.cu, got, tt.want, within, why)
		}
	}
}
