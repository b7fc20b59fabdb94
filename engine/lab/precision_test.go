package lab

import (
	"strings"
	"testing"

	"telltale/rules/analytes"
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
