package unit

import (
	"math"
	"testing"
)

// Published factors, in newton-metres. The pound-force inch is 0.0254 m (exactly) times
// the pound-force, 4.448 221 615 260 5 N (exactly): NIST SP 811, B.8, footnotes, from memory. The
// rounded figure is printed in MIL-HDBK-1004/6, App. B.
func TestTorqueFactors(t *testing.T) {
	for _, c := range []struct {
		value, want, within float64
		unit, source        string
	}{
		{1, 1, 0, "N m", "SI"},
		{1, 0.1129848290276167, 0, "lbf in", "NIST SP 811, B.8: 0.0254 × 4.4482216152605"},
		{1, 0.112985, 0.5e-6, "lbf in", "MIL-HDBK-1004/6, App. B: .112985"},
		{1, 1.3558179483314004, 0, "lbf ft", "NIST SP 811, B.8: 0.3048 × 4.4482216152605"},
		{1, 1.355818, 0.5e-6, "lbf ft", "NIST SP 811, B.8: 1.355 818, from memory"},
		{12, 1.3558179483314004, 0, "lbf in", "twelve inches are a foot"},
	} {
		got, kind, err := Base(c.value, c.unit)
		if err != nil || kind != Torque || !close2(got, c.want) && math.Abs(got-c.want) > c.within {
			t.Errorf("%v %s = %v, %s, %v, want %v (%s)", c.value, c.unit, got, kind, err, c.want, c.source)
		}
	}
}

func TestTorqueWords(t *testing.T) {
	for _, c := range []struct {
		q    Quantity
		want string
	}{
		{Quantity{35, "N m"}, "35 newton-metres (26 pound-force feet, 310 pound-force inches)"},
		{Quantity{30, "lbf ft"}, "30 pound-force feet (41 newton-metres, 360 pound-force inches)"},
		{Quantity{72.5, "lbf in"}, "72.5 pound-force inches (8.2 newton-metres, 6 pound-force feet)"},
		{Quantity{12, "lbf in"}, "12 pound-force inches (1.4 newton-metres, 1 pound-force foot)"},
		{Quantity{4, "L"}, "4 L"},
	} {
		if got := TorqueWords(c.q); got != c.want {
			t.Errorf("%s: got %q, want %q", c.q, got, c.want)
		}
	}
}
