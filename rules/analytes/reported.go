package analytes

import (
	"slices"
	"strings"

	"telltale/rules/unit"
)

// reported are the elements that laboratories report of oils and coolants: those of ASTM
// D5185 and D6595, and what some print besides (both from memory).
var reported = []string{
	"Ag", "Al", "B", "Ba", "Ca", "Cr", "Cu", "Fe", "K", "Mg", "Mn", "Mo", "Na", "Ni", "P", "Pb", "S", "Si", "Sn", "Ti", "V", "Zn", // D5185
	"Li",                                                      // D6595
	"As", "Be", "Bi", "Cd", "Cl", "Co", "In", "Sb", "W", "Zr", // besides
}

// Reported reports whether laboratories report the analyte; properties of fluids are.
func Reported(name string) bool {
	return byName[name].Kind != unit.Concentration || slices.Contains(reported, name)
}

// NearReported are the elements that laboratories report and that a symbol may be a slip
// for: those that begin with its first letter, else those that have its second one.
func NearReported(symbol string) []string {
	near := func(has func(name string) bool) (out []string) {
		for _, name := range reported {
			if has(name) {
				out = append(out, name)
			}
		}
		slices.Sort(out)
		return out
	}
	if first := near(func(name string) bool { return name[0] == symbol[0] }); len(first) > 0 {
		return first
	}
	return near(func(name string) bool { return len(name) > 1 && strings.HasSuffix(symbol, name[1:]) })
}
