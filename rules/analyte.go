package rules

import (
	"slices"
	"strings"
)

// elements are the symbols of the periodic table (IUPAC).
var elements = strings.Fields(`H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr
Rb Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re Os Ir Pt Au
Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U Np Pu Am Cm Bk Cf Es Fm Md No Lr Rf Db Sg Bh Hs Mt Ds Rg Cn Nh Fl Mc Lv Ts Og`)

// properties are the analytes that are not elements, with their units.
var properties = map[string]string{
	"KV40": "mm2/s", "KV100": "mm2/s", "TBN": "mgKOH/g", "TAN": "mgKOH/g",
	"water": "%", "fuel": "%", "glycol": "%", "soot": "%", "flash": "degC",
	"oxidation": "abs/cm", "nitration": "abs/cm",
	"particles4": "1/mL", "particles6": "1/mL", "particles14": "1/mL", "ferrous": "",
}

var analyteUnits = func() map[string]string {
	m := make(map[string]string, len(elements)+len(properties))
	for _, e := range elements {
		m[e] = "mg/kg"
	}
	for name, unit := range properties {
		m[name] = unit
	}
	return m
}()

var analyteNames = func() []string {
	var names []string
	for name := range analyteUnits {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}()

// Analytes lists the names of all analytes that results and rules may use:
// element symbols and the fluid properties, sorted.
func Analytes() []string { return slices.Clone(analyteNames) }

// IsAnalyte reports whether name is among Analytes.
func IsAnalyte(name string) bool { _, ok := analyteUnits[name]; return ok }

// AnalyteUnit is the unit in which the analyte is reckoned: mg/kg for elements,
// the property's own otherwise, "" for an index or an unknown name.
func AnalyteUnit(name string) string { return analyteUnits[name] }
