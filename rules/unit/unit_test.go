package unit

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// close2 allows one rounding more than the shortest way to the number has.
func close2(a, b float64) bool { return math.Abs(a-b) <= 4e-16*math.Max(math.Abs(a), math.Abs(b)) }

// Published factors. "Exactly" is the source's word; a factor printed rounded is
// compared at the digits it has.
func TestFactors(t *testing.T) {
	for _, c := range []struct {
		value  float64
		unit   string
		want   float64
		digits float64 // half of the last printed digit; 0: exact
		source string
	}{
		{1, "mi", 1609.344, 0, "NIST SP 811, B.8: mile, exactly"},
		{1, "gal", 3.785412, 0.5e-6, "NIST SP 811, B.8: gallon (US), rounded"},
		{1, "gal", 231 * 0.16387064 / 10, 0, "NIST Handbook 44, App. C (from memory): 231 cubic inches, exactly"},
		{4, "qt", 3.785411784, 0, "NIST Handbook 44, App. C (from memory): 4 liquid quarts are a gallon, exactly"},
		{1500, "mi", 2414016, 0, "1,500 miles are 2,414.016 km, by NIST SP 811"},
		{212, "degF", 100, 0, "NIST SP 811, B.8: (F-32)/1.8; water boils at 212 degF"},
		{32, "degF", 0, 0, "the same; water freezes"},
		{-40, "degF", -40, 0, "the same; both scales meet"},
		{104, "degF", 40, 0, "the same; the temperature of KV40"},
		{1, "cm", 10, 0, "SI prefix"},
		{1, "bar", 100, 0, "NIST SP 811, B.8 (from memory): bar, 100 kPa exactly"},
		{1, "lbf", 4.448222, 0.5e-6, "NIST SP 811, B.8 (from memory): pound-force, rounded"},
		{1, "psi", 6.894757, 0.5e-6, "NIST SP 811, B.8 (from memory): psi, rounded"},
		{1, "bar", 100, 0, "NIST SP 811, B.8 (from memory): bar, exactly"},
		{1, "h", 3600, 0, "NIST SP 811, table 6 (from memory): hour, exactly"},
		{1, "min", 60, 0, "NIST SP 811, table 6 (from memory): minute, exactly"},
		{1, "in", 25.4, 0, "NIST SP 811, B.8: 25.4 mm exactly"},
		{1, "cSt", 1, 0, "NIST SP 811, B.8 (from memory): centistokes, 1 mm2/s exactly"},
		{1, "weeks", 7, 0, "calendar"},
		{1, "years", 12, 0, "calendar, in months"},
		{1, "mL", 0.001, 0, "SI prefix"},
		{1, "km", 1000, 0, "SI prefix"},
		{87, "ppm", 87, 0, "ppm in oil reports is by mass, so mg/kg: common practice, no source"},
	} {
		got, _, err := Base(c.value, c.unit)
		if ok := close2(got, c.want) || math.Abs(got-c.want) <= c.digits; err != nil || !ok {
			t.Errorf("%v %s = %v, %v, want %v (%s)", c.value, c.unit, got, err, c.want, c.source)
		}
	}
}

// Singular, plural and short names are the same unit.
func TestSameUnits(t *testing.T) {
	for _, same := range [][]string{
		{"d", "day", "days"}, {"week", "weeks"}, {"month", "months"}, {"year", "years"}, {"mg/kg", "ppm"}, {"mm2/s", "cSt"}, {"", "index"},
	} {
		for _, name := range same[1:] {
			if a, b := byName[same[0]], byName[name]; a.kind != b.kind || a.factor != b.factor || a.offset != b.offset {
				t.Errorf("%q is not %q", name, same[0])
			}
		}
	}
}

// The list of units that events and books may use, with what they measure.
func TestKinds(t *testing.T) {
	for names, want := range map[string]string{
		"km mi m": "a distance", "h min s": "hours", "d days": "days", "months years": "months", "L mL qt gal": "a volume",
		"mg/kg ppm": "a concentration", "%": "a share", "mg/L": "mass per volume", "g/mL": "a density", "mm2/s cSt": "a viscosity",
		"mgKOH/g": "mgKOH/g", "degC degF": "a temperature", "abs/cm": "an absorbance", "1/mL": "a count", "kPa bar psi": "a pressure",
		"mm cm in": "a length", "V": "a voltage", "Ah": "a charge", "N lbf": "a force", "index": "a bare number",
	} {
		for name := range strings.FieldsSeq(names) {
			if k, ok := Of(name); !ok || k.String() != want {
				t.Errorf("%s measures %s, %v, want %s", name, k, ok, want)
			}
		}
	}
	for _, name := range []string{"KM", "miles", "l", "kg", "°C", " km", "km "} {
		if k, ok := Of(name); ok {
			t.Errorf("%q is known and measures %s", name, k)
		}
	}
}

func TestNames(t *testing.T) {
	if got, want := strings.Join(Names(Distance, Time), " "), "km mi m h min s"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if all := Names(); len(all) != len(defs)-1 || slices.Contains(all, "") {
		t.Errorf("all names: %q", all)
	}
}

func TestAs(t *testing.T) {
	for _, c := range []struct {
		q    Quantity
		kind Kind
		want float64
		err  string
	}{
		{Quantity{28000, "mi"}, Distance, 45061632, ""},
		{Quantity{250, "h"}, Time, 900000, ""},
		{Quantity{4, "L"}, Distance, 0, "4 L is a volume, wanted a distance (km, mi, m)"},
		{Quantity{0.5, ""}, Volume, 0, "0.5 is a bare number, wanted a volume (L, mL, qt, gal)"},
		{Quantity{4, "kms"}, Distance, 0, `unknown unit "kms"`},
	} {
		got, err := c.q.As(c.kind)
		if got != c.want || text(err) != c.err {
			t.Errorf("%v: %v, %q, want %v, %q", c.q, got, text(err), c.want, c.err)
		}
	}
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		s    string
		want Quantity
		err  string
	}{
		{"45000 km", Quantity{45000, "km"}, ""},
		{" 8L ", Quantity{8, "L"}, ""},
		{"10%", Quantity{10, "%"}, ""},
		{"-12.5 degC", Quantity{-12.5, "degC"}, ""},
		{"36 months", Quantity{36, "months"}, ""},
		{"6.9 mm2/s", Quantity{6.9, "mm2/s"}, ""},
		{"500 1/mL", Quantity{500, "1/mL"}, ""},
		{"0.75", Quantity{0.75, ""}, ""},
		{"", Quantity{}, `"" is not a number with a unit, like "45000 km"`},
		{"km", Quantity{}, `"km" is not a number with a unit, like "45000 km"`},
		{"NaN km", Quantity{}, `"NaN km" is not a number with a unit, like "45000 km"`},
		{"1.2.3 km", Quantity{}, `"1.2.3 km" is not a number with a unit, like "45000 km"`},
		{strings.Repeat("9", 400) + " km", Quantity{}, `"` + strings.Repeat("9", 400) + ` km" is not a number with a unit, like "45000 km"`},
		{"45,000 km", Quantity{}, `"45,000 km" has a comma, write numbers like "45000 km" and "4.5 L"`},
		{"5e3 km", Quantity{}, `unknown unit "e3 km" in "5e3 km"`},
		{"4 liters", Quantity{}, `unknown unit "liters" in "4 liters"`},
	} {
		got, err := Parse(c.s)
		if got != c.want || text(err) != c.err {
			t.Errorf("%q: %v, %q, want %v, %q", c.s, got, text(err), c.want, c.err)
		}
	}
}

func TestUnknownUnit(t *testing.T) {
	if _, k, err := Base(1, "furlong"); k != None || text(err) != `unknown unit "furlong"` {
		t.Errorf("got %v, %v", k, err)
	}
	if v := From(1, "furlong"); !math.IsNaN(v) {
		t.Errorf("got %v", v)
	}
}

// There and back again is the same, to a rounding of the largest number met.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(defs).Draw(t, "unit")
		v := rapid.Float64Range(-1e7, 1e7).Draw(t, "value")
		base, _, err := Base(v, d.name)
		if err != nil {
			t.Fatal(err)
		}
		if back := From(base, d.name); math.Abs(back-v) > 4e-16*(math.Abs(v)+math.Abs(d.offset)) {
			t.Fatalf("%v %s became %v", v, d.name, back)
		}
	})
}

func TestString(t *testing.T) {
	for _, c := range []struct {
		q    Quantity
		want string
	}{
		{Quantity{45000, "km"}, "45000 km"}, {Quantity{-0.25, "L"}, "-0.25 L"}, {Quantity{0, ""}, "0"},
		{Quantity{1e20, "km"}, "100000000000000000000 km"}, {Quantity{1e308, "km"}, "1e+308 km"}, {Quantity{5e-324, "h"}, "5e-324 h"},
	} {
		if got := c.q.String(); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

func TestGrouped(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 999.4: "999", 999.5: "1,000", 45000: "45,000", 1234567: "1,234,567", -0.4: "0", -100: "-100", -1000: "-1,000",
	} {
		if got := Grouped(v); got != want {
			t.Errorf("%v: got %q, want %q", v, got, want)
		}
	}
}

// What String writes, Parse reads.
func TestStringParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(defs).Draw(t, "unit")
		v := rapid.Float64Range(1e-9, 1e20).Draw(t, "value") * rapid.SampledFrom([]float64{-1, 0, 1}).Draw(t, "sign")
		q := Quantity{Value: v, Unit: d.name}
		if got, err := Parse(q.String()); err != nil || got != q {
			t.Fatalf("%q became %v, %v", q, got, err)
		}
	})
}
