package english

import (
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

var overseas = unit.System{Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"}

func TestUnit(t *testing.T) {
	for name, want := range map[string]string{"degC": "°C", "degF": "°F", "km": "km", "mg/kg": "mg/kg", "": ""} {
		if got := Unit(name); got != want {
			t.Errorf("%q is read as %q, want %q", name, got, want)
		}
	}
	if got := Quantity(&unit.Quantity{Value: 340, Unit: "degF"}); got != "340 °F" {
		t.Errorf("340 degF are read as %q", got)
	}
}

func TestAmounts(t *testing.T) {
	for _, c := range []struct {
		base      float64
		kind      unit.Kind
		digits    int
		metric    string
		elsewhere string
	}{
		{88514000, unit.Distance, 0, "88,514 km", "55,000 mi"},
		{5_000_000, unit.Distance, 1, "5,000 km", "3,000 mi"},
		{1_500_000, unit.Distance, 2, "1,500 km", "930 mi"},
		{3000 * unit.Mile, unit.Distance, 1, "5,000 km", "3,000 mi"},
		{7500 * unit.Mile, unit.Distance, 2, "12,000 km", "7,500 mi"},
		{500 * 3600, unit.Time, 0, "500 h", "500 h"},
		{4.5, unit.Volume, 0, "4.5 L", "4.8 qt"},
		{90, unit.Temperature, 0, "90 °C", "194 °F"},
		{90, unit.Temperature, 1, "90 °C", "194 °F"},
		{93, unit.Temperature, 2, "93 °C", "199 °F"},
		{37.5, unit.Temperature, 3, "37.5 °C", "99.5 °F"},
		{-40, unit.Temperature, 1, "-40 °C", "-40 °F"},
		{2_000_000, unit.Distance, 1, "2,000 km", "1,200 mi"},
		{1_000_000, unit.Distance, 1, "1,000 km", "600 mi"},
		{4, unit.Volume, 1, "4 L", "4.2 qt"},
		{250, unit.Pressure, 2, "250 kPa", "36 psi"},
		{1, unit.Days, 1, "1 day", "1 day"},
		{30, unit.Days, 1, "30 days", "30 days"},
		{240, unit.Pressure, 0, "240 kPa", "34.8 psi"},
	} {
		for want, s := range map[string]unit.System{c.metric: {}, c.elsewhere: overseas} {
			now := Reader{Units: s}.Stated(c.base, c.kind, c.digits)
			later := Worded("about "+Reader{Marked: true}.Stated(c.base, c.kind, c.digits)+".", s)
			if now != want || later != "about "+want+"." {
				t.Errorf("%v %s: %q and later %q, want %q", c.base, c.kind, now, later, want)
			}
		}
	}
}

// Whoever reads it, a marked text says what an unmarked one would.
func TestMarkedSaysTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e9, 1e9).Draw(t, "value")
		k := rapid.SampledFrom([]unit.Kind{unit.Distance, unit.Time, unit.Volume}).Draw(t, "kind")
		s := rapid.SampledFrom([]unit.System{{}, overseas}).Draw(t, "units")
		before, after := rapid.StringMatching("[a-z ]*").Draw(t, "before"), rapid.StringMatching("[a-z ]*").Draw(t, "after")
		want := before + Reader{Units: s}.Amount(v, k) + after
		if got := Worded(before+Reader{Marked: true}.Amount(v, k)+after, s); got != want {
			t.Fatalf("got %q, want %q", got, want)
		}
	})
}

func TestDigits(t *testing.T) {
	for base, want := range map[float64]int{5_000_000: 1, 1_500_000: 2, 45_000_000: 2, 3000 * unit.Mile: 1, 7500 * unit.Mile: 2, 12_345_000: 5} {
		if got := Digits(base, "km", "mi"); got != want {
			t.Errorf("%v m has %d digits, want %d", base, got, want)
		}
	}
}
