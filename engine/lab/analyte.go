package lab

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/rules/unit"
)

// Analyte is one thing that a laboratory reports.
type Analyte struct {
	Name  string    // as events and rules write it: "Cu", "KV100"
	Title string    // as people read it: "copper"
	Kind  unit.Kind // Concentration (mg/kg), Percent, Viscosity, BaseNumber, Temperature, Absorbance, Count or Index
	// Wear marks the metals of which parts are made and fluids are not; one that a
	// fluid's fresh values do not name counts as absent from the fresh fluid.
	// Fe, Ag, Al, Cr, Cu, Ni, Pb, Sn and Ti are wear metals of the US DoD JOAP
	// manuals; V, Cd and Mn are common practice, no source.
	Wear bool
}

// The analytes in order of name. Elements beyond those of ASTM D5185 are here
// because laboratories print them; none of them is judged unless a rule asks.
var analytes = []Analyte{
	{"Ag", "silver", unit.Concentration, true},
	{"Al", "aluminium", unit.Concentration, true},
	{"As", "arsenic", unit.Concentration, false},
	{"B", "boron", unit.Concentration, false},
	{"Ba", "barium", unit.Concentration, false},
	{"Be", "beryllium", unit.Concentration, false},
	{"Bi", "bismuth", unit.Concentration, false},
	{"Ca", "calcium", unit.Concentration, false},
	{"Cd", "cadmium", unit.Concentration, true},
	{"Ce", "cerium", unit.Concentration, false},
	{"Cl", "chlorine", unit.Concentration, false},
	{"Co", "cobalt", unit.Concentration, false},
	{"Cr", "chromium", unit.Concentration, true},
	{"Cu", "copper", unit.Concentration, true},
	{"Fe", "iron", unit.Concentration, true},
	{"In", "indium", unit.Concentration, false},
	{"K", "potassium", unit.Concentration, false},
	{"KV100", "viscosity at 100 degC", unit.Viscosity, false},
	{"KV40", "viscosity at 40 degC", unit.Viscosity, false},
	{"Li", "lithium", unit.Concentration, false},
	{"Mg", "magnesium", unit.Concentration, false},
	{"Mn", "manganese", unit.Concentration, true},
	{"Mo", "molybdenum", unit.Concentration, false},
	{"Na", "sodium", unit.Concentration, false},
	{"Ni", "nickel", unit.Concentration, true},
	{"P", "phosphorus", unit.Concentration, false},
	{"Pb", "lead", unit.Concentration, true},
	{"S", "sulfur", unit.Concentration, false},
	{"Sb", "antimony", unit.Concentration, false},
	{"Si", "silicon", unit.Concentration, false},
	{"Sn", "tin", unit.Concentration, true},
	{"Sr", "strontium", unit.Concentration, false},
	{"TAN", "acid number", unit.BaseNumber, false},
	{"TBN", "base number", unit.BaseNumber, false},
	{"Ti", "titanium", unit.Concentration, true},
	{"V", "vanadium", unit.Concentration, true},
	{"W", "tungsten", unit.Concentration, false},
	{"Zn", "zinc", unit.Concentration, false},
	{"Zr", "zirconium", unit.Concentration, false},
	{"ferrous", "ferrous particle index", unit.Index, false},
	{"flash", "flash point", unit.Temperature, false},
	{"fuel", "fuel", unit.Percent, false},
	{"glycol", "glycol", unit.Percent, false},
	{"nitration", "nitration", unit.Absorbance, false},
	{"oxidation", "oxidation", unit.Absorbance, false},
	{"particles14", "particles above 14 µm", unit.Count, false},
	{"particles4", "particles above 4 µm", unit.Count, false},
	{"particles6", "particles above 6 µm", unit.Count, false},
	{"soot", "soot", unit.Percent, false},
	{"water", "water", unit.Percent, false},
}

var analyteByName = func() map[string]Analyte {
	m := make(map[string]Analyte, len(analytes))
	for _, a := range analytes {
		m[a.Name] = a
	}
	return m
}()

var analyteByTitle = func() map[string]Analyte {
	m := map[string]Analyte{
		"aluminum": analyteByName["Al"], "sulphur": analyteByName["S"], "wolfram": analyteByName["W"],
		"total base number": analyteByName["TBN"], "total acid number": analyteByName["TAN"],
		"viscosity at 100 °c": analyteByName["KV100"], "viscosity at 40 °c": analyteByName["KV40"],
		"fuel dilution": analyteByName["fuel"], "ferrous index": analyteByName["ferrous"],
		"particles above 14 um": analyteByName["particles14"], "particles above 4 um": analyteByName["particles4"],
		"particles above 6 um": analyteByName["particles6"],
	}
	for _, a := range analytes {
		m[strings.ToLower(a.Title)] = a
	}
	return m
}()

// Lookup returns the analyte of that name ("Cu") or of that English title in any
// case ("Copper"). Symbols are taken exactly, since Co is not CO.
func Lookup(name string) (a Analyte, ok bool) {
	if a, ok = analyteByName[name]; ok {
		return a, true
	}
	a, ok = analyteByTitle[strings.ToLower(name)]
	return a, ok
}

// Named is the analyte as people read it, with the name that the laboratory's sheet
// has for it: "copper (Cu)", "acid number (TAN)", "water".
func Named(name string) string {
	if a, ok := analyteByName[name]; ok && a.Title != name {
		return a.Title + " (" + name + ")"
	}
	return name
}

// Known reports whether events and rules may use that name. An unknown analyte
// is kept and shown, but not judged.
func Known(name string) bool {
	_, ok := analyteByName[name]
	return ok
}

// Analytes returns the known names, sorted.
func Analytes() []string {
	out := make([]string, len(analytes))
	for i, a := range analytes {
		out[i] = a.Name
	}
	return out
}

// Most is the most that a result can be, in the analyte's base unit: the whole for
// concentrations and shares, 1e9 for anything else, which no instrument reads.
func Most(analyte string) float64 {
	switch analyteByName[analyte].Kind {
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
	a, ok := analyteByName[analyte]
	if !ok {
		return 0, fmt.Errorf("unknown analyte %q", analyte)
	}
	v, from, err := unit.Base(value, unitName)
	if err != nil {
		return 0, fmt.Errorf("reading %s: %w (known: %s)", analyte, err, strings.Join(unit.Names(fits(a.Kind)...), ", "))
	}
	if v, err = a.convert(v, from, density); err != nil {
		return 0, fmt.Errorf("reading %s in %q: %w", analyte, unitName, err)
	}
	if err := a.plausible(v); err != nil {
		return 0, fmt.Errorf("reading %s: %w", analyte, err)
	}
	return v, nil
}

// fits lists the kinds of unit in which an analyte of kind k may be reported.
func fits(k unit.Kind) []unit.Kind {
	if k == unit.Concentration || k == unit.Percent {
		return []unit.Kind{unit.Concentration, unit.Percent, unit.MassVolume}
	}
	return []unit.Kind{k}
}

func (a Analyte) convert(v float64, from unit.Kind, density float64) (float64, error) {
	if !slices.Contains(fits(a.Kind), from) {
		return 0, fmt.Errorf("that is %s, wanted %s", from, strings.Join(unit.Names(fits(a.Kind)...), ", "))
	}
	if from == a.Kind {
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
	if a.Kind == unit.Percent {
		v /= 10_000
	}
	return v, nil
}

func (a Analyte) plausible(v float64) error {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return fmt.Errorf("%v is no number", v)
	case v < 0 && a.Kind != unit.Temperature && a.Kind != unit.Absorbance:
		return fmt.Errorf("%v is negative", v)
	case a.Kind == unit.Percent && v > 100, a.Kind == unit.Concentration && v > 1_000_000:
		return fmt.Errorf("%v %s is more than the whole", v, unit.Names(a.Kind)[0])
	}
	return nil
}
