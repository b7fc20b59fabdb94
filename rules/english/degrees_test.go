package english_test

import (
	"testing"

	"telltale/rules/english"
	"telltale/rules/unit"
)

// 40 and 100 degC are 104 and 212 degF, exactly (NIST SP 811, B.9).
func TestDegrees(t *testing.T) {
	f := unit.System{Temperature: "degF"}
	for name, want := range map[string]string{
		"viscosity at 100 degC":                        "viscosity at 212 degF",
		"viscosities from which that at 40 °C follows": "viscosities from which that at 104 degF follows",
		"viscosity at -17.5 °C":                        "viscosity at 0.5 degF",
		"copper":                                       "copper",
	} {
		if got := english.Degrees(name, f); got != want {
			t.Errorf("%q is %q, want %q", name, got, want)
		}
		if got := english.Degrees(name, unit.Metric); got != name {
			t.Errorf("%q is %q in degC", name, got)
		}
	}
}
