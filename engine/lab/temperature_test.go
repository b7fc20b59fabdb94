package lab

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// ASTM D341, figures reckoned by another program from its equation: ISO VG 46 with 46 and
// 6.76 mm2/s is 134.500 at 20 °C, 29.923 at 50 °C, 11.050 at 80 °C. A public example has 8.5
// at 80 °C for 32 and 5.4, with T = t + 273.
func TestViscosityAt(t *testing.T) {
	for _, c := range []struct{ at, kv40, kv100, want, tol float64 }{
		{20, 46, 6.76, 134.500, 5e-4}, {50, 46, 6.76, 29.923, 5e-4}, {80, 46, 6.76, 11.050, 5e-4},
		{80, 32, 5.4, 8.5, 0.05}, {40, 46, 6.76, 46, 1e-9}, {100, 46, 6.76, 6.76, 1e-9},
	} {
		v, ok := ViscosityAt(c.at, c.kv40, c.kv100)
		if !ok {
			t.Fatalf("%+v is not answered", c)
		}
		near(t, "viscosity", v, c.want, c.tol)
	}
	for _, c := range [][3]float64{{20, 5, 6}, {20, 5, 5}, {20, 5, 1.9}, {150, 10, 2.5}, {20, math.Inf(1), 5}, {math.NaN(), 46, 6.76}, {-300, 46, 6.76}} {
		if v, ok := ViscosityAt(c[0], c[1], c[2]); ok {
			t.Errorf("%v is answered: %v", c, v)
		}
	}
	s := Sheet{History: History{{Results: []Result{{Analyte: "KV40", Value: 46}}}}}
	if _, why, ok := s.ViscosityAt(20); ok || why != "viscosity at 100 °C (KV100) in the sample" {
		t.Errorf("%q, %v", why, ok)
	}
	s = Sheet{History: History{with(sample(0, 1), Result{Analyte: "KV40", Value: 5}, Result{Analyte: "KV100", Value: 6})}}
	if _, why, _ := s.ViscosityAt(20); why != "viscosities from which that at 20 °C follows" {
		t.Errorf("%q", why)
	}
}

// A fluid is never thicker where it is warmer, and two points of a line give the line again.
func TestViscosityAtProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kv100 := rapid.Float64Range(3, 40).Draw(t, "kv100")
		kv40 := kv100 * rapid.Float64Range(1.5, 20).Draw(t, "ratio")
		cold := rapid.Float64Range(-20, 80).Draw(t, "cold")
		warm := cold + rapid.Float64Range(1, 20).Draw(t, "warmer")
		a, ok1 := ViscosityAt(cold, kv40, kv100)
		b, ok2 := ViscosityAt(warm, kv40, kv100)
		if ok2 && !ok1 && a < b {
			t.Fatalf("%v at %v is not answered, %v at %v is", a, cold, b, warm)
		}
		if ok1 && ok2 && b >= a {
			t.Fatalf("%v at %v, %v at %v", a, cold, b, warm)
		}
	})
}
