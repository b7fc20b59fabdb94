package lab

import (
	"math"
	"testing"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// Whatever a laboratory sends, what is let through is a finite number that is not
// negative (temperatures and absorbances aside) and not more than the whole.
func FuzzNormalise(f *testing.F) {
	for _, a := range analytes.Names() {
		for _, u := range []string{"mg/kg", "%", "mg/L", "mm2/s", "degF", "mgKOH/g", "abs/cm", "1/mL", "", "grains"} {
			f.Add(a, 87.0, u, 0.87)
		}
	}
	f.Add("Cu", math.Inf(1), "ppm", 0.0)
	f.Fuzz(func(t *testing.T, analyte string, value float64, unitName string, density float64) {
		v, err := Normalise(analyte, value, unitName, density)
		if err != nil {
			if v != 0 {
				t.Errorf("%v beside %v", v, err)
			}
			return
		}
		a, _ := analytes.Of(analyte)
		if math.IsNaN(v) || math.IsInf(v, 0) || v > 1e6 && a.Kind == unit.Concentration {
			t.Errorf("Normalise(%q, %v, %q, %v) = %v", analyte, value, unitName, density, v)
		}
		if v < 0 && analyte != "flash" && analyte != "oxidation" && analyte != "nitration" {
			t.Errorf("%s = %v", analyte, v)
		}
	})
}

// A grade that is understood has a band, and its own name is understood too.
func FuzzGradeNamed(f *testing.F) {
	for _, s := range []string{"SAE 30", "5W-30", "10W", "ISO VG 46", "VG 6.8", "30-5W", "", " ", "SAE -", "ISO VG NaN", "ATF"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		g, ok := GradeNamed(name)
		if !ok {
			return
		}
		again, ok := GradeNamed(g.Name)
		if !ok || again != g || !(g.Min > 0) || !(g.Max > g.Min) {
			t.Errorf("%q is %+v, and %q is %+v, %v", name, g, g.Name, again, ok)
		}
	})
}
