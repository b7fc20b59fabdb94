package lab

import (
	"math"
	"math/rand/v2"
	"testing"

	"telltale/rules/unit"
)

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
