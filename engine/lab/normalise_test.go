package lab

import (
	"math"
	"testing"

	"telltale/rules/analytes"
)

func TestNormalise(t *testing.T) {
	tests := []struct {
		analyte string
		value   float64
		unit    string
		density float64
		want    float64
		fault   string
	}{
		{"Cu", 131, "mg/kg", 0, 131, ""},
		{"Cu", 131, "ppm", 0, 131, ""},
		{"Ca", 0.31, "%", 0, 3100, ""},
		// 100 mg/kg at 0.87 kg/L is 87 mg/L: from memory, by the definition of density.
		{"Cu", 87, "mg/L", 0.87, 100, ""},
		{"Cu", 87, "mg/L", 0, 0, `reading Cu in "mg/L": the fluid's density is needed and not known`},
		{"water", 0.2, "%", 0, 0.2, ""},
		{"water", 2000, "ppm", 0, 0.2, ""},
		{"KV100", 6.9, "cSt", 0, 6.9, ""},
		{"KV100", 6.9, "%", 0, 0, `reading KV100 in "%": that is a share, wanted mm2/s, cSt`},
		{"TBN", 7, "mgKOH/g", 0, 7, ""},
		{"flash", 392, "degF", 0, 200, ""},
		{"flash", -5, "degC", 0, -5, ""},
		{"oxidation", -0.1, "abs/cm", 0, -0.1, ""},
		{"particles4", 3000, "1/mL", 0, 3000, ""},
		{"ferrous", 12, "index", 0, 12, ""},
		{"ferrous", 12, "", 0, 12, ""},
		{"Cu", -1, "ppm", 0, 0, "reading Cu: -1 is negative"},
		{"Cu", 101, "%", 0, 0, "reading Cu: 1.01e+06 mg/kg is more than the whole"},
		{"soot", 101, "%", 0, 0, "reading soot: 101 % is more than the whole"},
		{"Cu", math.NaN(), "ppm", 0, 0, "reading Cu: NaN is not a number"},
		{"Cu", 1, "grains", 0, 0, `reading Cu: unknown unit "grains" (known: mg/kg, ppm, %, mg/L)`},
		{"Xx", 1, "ppm", 0, 0, `unknown analyte "Xx"`},
	}
	for _, tt := range tests {
		got, err := Normalise(tt.analyte, tt.value, tt.unit, tt.density)
		fault := ""
		if err != nil {
			fault = err.Error()
		}
		if math.Abs(got-tt.want) > 1e-9 || fault != tt.fault {
			t.Errorf("Normalise(%s, %v, %s, %v) = %v, %q; want %v, %q", tt.analyte, tt.value, tt.unit, tt.density, got, fault, tt.want, tt.fault)
		}
	}
}

// Every analyte can be judged: its own unit fits, and nothing is done to the number.
func TestNormaliseEach(t *testing.T) {
	for _, name := range analytes.Names() {
		v, err := Normalise(name, 1.5, analytes.UnitOf(name), 0)
		if v != 1.5 || err != nil {
			t.Errorf("1.5 %s of %s: %v, %v", analytes.UnitOf(name), name, v, err)
		}
	}
}
