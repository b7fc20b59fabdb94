package lab

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// isWear reports whether the analyte is a wear metal.
func isWear(analyte string) bool {
	a, _ := analytes.Of(analyte)
	return a.Wear
}

// Most is the most that a result can be, in the analyte's base unit: the whole for
// concentrations and shares, 1e9 for anything else, which no instrument reads.
func Most(analyte string) float64 {
	switch a, _ := analytes.Of(analyte); a.Kind {
	case unit.Concentration:
		return 1_000_000
	case unit.Percent:
		return 100
	}
	return 1e9
}

// Normalise converts a result to the analyte's base unit: mg/kg for elements
// (1 % is 10,000 mg/kg by mass), % for water, fuel, glycol and soot. mg/L becomes
// mg/kg by the fluid's density in g/mL (mg/kg = mg/L / density), 0 where unknown.
//
// It refuses an analyte that is not known, a unit that does not fit or is not
// known, mg/L without a density, a value that is negative (temperatures and
// absorbances may be), above the whole, or no number.
func Normalise(analyte string, value float64, unitName string, density float64) (float64, error) {
	a, ok := analytes.Of(analyte)
	if !ok {
		return 0, fmt.Errorf("unknown analyte %q", analyte)
	}
	v, from, err := unit.Base(value, unitName)
	if err != nil {
		return 0, fmt.Errorf("reading %s: %w (known: %s)", analyte, err, strings.Join(unit.Names(fits(a.Kind)...), ", "))
	}
	if v, err = convert(v, from, a.Kind, density); err != nil {
		return 0, fmt.Errorf("reading %s in %q: %w", analyte, unitName, err)
	}
	if err := plausible(v, a.Kind); err != nil {
		return 0, fmt.Errorf("reading %s: %w", analyte, err)
	}
	return v, nil
}

// UnitsOf are the units in which laboratories may report the analyte, its own first.
func UnitsOf(analyte string) []string {
	a, _ := analytes.Of(analyte)
	own := cmp.Or(a.Unit, "index")
	return append([]string{own}, slices.DeleteFunc(unit.Names(fits(a.Kind)...), func(u string) bool { return u == own })...)
}

// fits lists the kinds of unit in which an analyte of kind k may be reported.
func fits(k unit.Kind) []unit.Kind {
	if k == unit.Concentration || k == unit.Percent {
		return []unit.Kind{unit.Concentration, unit.Percent, unit.MassVolume}
	}
	return []unit.Kind{k}
}

// convert turns a value in the base unit of one kind into that of the other.
func convert(v float64, from, to unit.Kind, density float64) (float64, error) {
	if !slices.Contains(fits(to), from) {
		return 0, fmt.Errorf("that is %s, wanted %s", from, strings.Join(unit.Names(fits(to)...), ", "))
	}
	if from == to {
		return v, nil
	}
	switch from {
	case unit.Percent:
		v *= 10_000
	case unit.MassVolume:
		if !(density > 0) {
			return 0, fmt.Errorf("the fluid's density is needed and not known")
		}
		v /= density
	}
	if to == unit.Percent {
		v /= 10_000
	}
	return v, nil
}

// plausible says why no result of the kind can be v.
func plausible(v float64, k unit.Kind) error {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return fmt.Errorf("%v is not a number", v)
	case v < 0 && k != unit.Temperature && k != unit.Absorbance:
		return fmt.Errorf("%v is negative", v)
	case k == unit.Percent && v > 100, k == unit.Concentration && v > 1_000_000:
		return fmt.Errorf("%v %s is more than the whole", v, unit.Names(k)[0])
	}
	return nil
}
