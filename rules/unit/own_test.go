package unit

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestOwn(t *testing.T) {
	us := System{Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"}
	for _, c := range []struct {
		v    float64
		name string
		want float64
		in   string
	}{
		{1.609344, "km", 1, "mi"},
		{0.946352946, "L", 1, "qt"},
		{100, "degC", 212, "degF"},
		{16.09344, "km/day", 10, "mi/day"},
		{1, "mg/kg per 1,000 km", 1.609344, "mg/kg per 1,000 mi"},
		{1, "mg/kg per 1,000 km, for each 1,000 km", 1.609344 * 1.609344, "mg/kg per 1,000 mi, for each 1,000 mi"},
		{3, "mg/kg per 100 h", 3, "mg/kg per 100 h"},
		{3, "mg/kg", 3, "mg/kg"}, {3, "", 3, ""}, {3, "days", 3, "days"}, {3, "furlongs", 3, "furlongs"},
	} {
		got, in := us.Own(c.v, c.name)
		if math.Abs(got-c.want) > 1e-9 || in != c.in {
			t.Errorf("%v %s is %v %s, want %v %s", c.v, c.name, got, in, c.want, c.in)
		}
	}
	if v, in := (System{}).Own(5, "km"); v != 5 || in != "km" {
		t.Errorf("where it does not say: %v %s", v, in)
	}
}

// There and back it is the same.
func TestOwnThereAndBack(t *testing.T) {
	us := System{Distance: "mi", Volume: "gal", Temperature: "degF", Pressure: "bar"}
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e6, 1e6).Draw(t, "value")
		name := rapid.SampledFrom([]string{"km", "km/day", "L", "degC", "kPa", "mg/kg per 1,000 km", "% per 1,000 km, for each 1,000 km"}).Draw(t, "unit")
		there, in := us.Own(v, name)
		back, again := Metric.Own(there, in)
		if again != name || math.Abs(back-v) > 1e-6 {
			t.Fatalf("%v %s became %v %s, then %v %s", v, name, there, in, back, again)
		}
	})
}
