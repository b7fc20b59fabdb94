package english

import (
	"math"
	"testing"

	"telltale/rules/unit"
)

var nan, inf = math.NaN(), math.Inf(1)

func TestNumbers(t *testing.T) {
	for _, f := range []struct {
		name  string
		write func(float64) string
		want  []any // number, text, number, text
	}{
		{"Number", Number, []any{3.275, "3.275", 0.1 + 0.2, "0.3", math.Copysign(0, -1), "0", 1e15, "1000000000000000", 81234.5, "81234.5",
			1.0 / 3, "0.3333333333", 99.99999999999999, "100", 1e-7, "0.0000001", nan, "n/a", inf, "n/a", -inf, "n/a"}},
		{"Figures", Figures, []any{131.25, "131", 0.012345, "0.0123", 81234.0, "81200", -2.346, "-2.35", 9.999, "10", 0.0, "0", 2.0, "2", nan, "n/a", -inf, "n/a"}},
		{"FourFigures", FourFigures, []any{0.0, "0", 3.275, "3.275", 131.0, "131", 131.25, "131.2", 0.00001, "0.000010", 999.96, "1000",
			1234.6, "1,235", 1e6, "1,000,000", -45000.0, "-45,000", nan, "n/a", inf, "n/a"}},
		{"Short", Short, []any{131.25, "131", 13.125, "13.1", 1.3125, "1.31", 0.0123, "0.01", -13.125, "-13.1", 99.96, "100", 0.001, "0", -0.001, "0", nan, "n/a"}},
		{"Signed", Signed, []any{1.3125, "+1.31", 0.001, "0", 0.0, "0", -2.0, "-2", 150.4, "+150", nan, "n/a"}},
		{"Ratio", Ratio, []any{3.24, "3.2", 3.0, "3.0", 12.4, "12", 1200.0, "1,200", 0.454, "0.45", 0.0, "0.00", 9.96, "10.0", 0.996, "1.00"}},
	} {
		for i := 0; i < len(f.want); i += 2 {
			if got := f.write(f.want[i].(float64)); got != f.want[i+1] {
				t.Errorf("%s(%v) = %q, want %q", f.name, f.want[i], got, f.want[i+1])
			}
		}
	}
}

func TestQuantities(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Quantity(nil), ""}, {Quantity(&unit.Quantity{Value: 44999.6, Unit: "km"}), "45,000 km"},
		{Amount(45_000_000, "km"), "45,000 km"}, {Amount(9000, "h"), "3 h"},
		{Amount(1_609_344, "mi"), "1,000 mi"}, // NIST SP 811, B.8: a mile is 1,609.344 m exactly
		{Volume(8, "L"), "8 L"}, {Volume(8.449, "L"), "8.4 L"},
		{Volume(0.946352946*4.5, "qt"), "4.5 qt"}, // 1 qt (US) = 0.946352946 L exactly (NIST Handbook 44 App. C)
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestCounts(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Plural(0, "sample"), "0 samples"}, {Plural(1, "sample"), "1 sample"}, {Plural(1200, "sample"), "1200 samples"},
		{Days(1), "1 day"}, {Days(-3), "-3 days"},
		{Counted(1, "advisory", "advisories"), "1 advisory"}, {Counted(1200, "advisory", "advisories"), "1,200 advisories"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestSentences(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{List("or", nil), ""}, {List("or", []string{"a"}), "a"}, {List("or", []string{"a", "b"}), "a or b"}, {List("and", []string{"a", "b", "c"}), "a, b and c"},
		{OneLine(" a\n  b\tc "), "a b c"}, {OneLine(""), ""},
		{Capital("örtlich"), "Örtlich"}, {Capital("oil change"), "Oil change"}, {Capital(""), ""}, {Capital("\xffa"), "\xffa"}, {Capital("5 h"), "5 h"},
		{Ended(" a "), "a."}, {Ended("a?"), "a?"}, {Ended("a:"), "a:"}, {Ended("a."), "a."}, {Ended(" "), ""},
		{Sentence("is it so?"), "Is it so?"}, {Sentence("it is so"), "It is so."},
		{Sentences("one", "", " ", "two."), "One. Two."}, {Sentences(), ""},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// TestTyped: what stands in a command to copy reads back as the name, as POSIX has a shell
// take quotes (2.2.3, Double-Quotes).
func TestTyped(t *testing.T) {
	for name, want := range map[string]string{
		"bus-07": "bus-07", "Bus 7": `"Bus 7"`, "data: meter": `"data: meter"`, `5" pipe`: `"5\" pipe"`, "a$b`c": "\"a\\$b\\`c\"", `a\b`: `"a\\b"`, "": `""`, "Größe": "Größe",
	} {
		if got := Typed(name); got != want {
			t.Errorf("%q is typed %s, want %s", name, got, want)
		}
	}
}
