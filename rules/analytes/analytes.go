// Package analytes is the table of what laboratories report of a fluid and rules may
// ask for: the elements and the properties of fluids, a row each in analytes.csv. It is
// pure.
package analytes

import (
	_ "embed" // for the table
	"encoding/csv"
	"maps"
	"slices"
	"strings"

	"telltale/rules/unit"
)

//go:embed analytes.csv
var text string

// Analyte is one thing that a laboratory reports.
type Analyte struct {
	Name  string    // as events and rules write it: "Cu", "KV100"
	Title string    // as people read it: "copper"
	Unit  string    // in which it is reckoned: "mg/kg" for elements, "" for an index
	Kind  unit.Kind // Concentration, Percent, Viscosity, BaseNumber, Temperature, Absorbance, Count or Index
	// Wear marks the metals of which parts are made and fluids are not; one that a
	// fluid's fresh values do not name counts as absent from the fresh fluid.
	Wear bool
}

var (
	byName, byTitle = read()
	names           = slices.Sorted(maps.Keys(byName))
)

// read reads the table. It is fixed when the program is built; a fault in it is a
// programmer's.
func read() (byName, byTitle map[string]Analyte) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		panic("analytes.csv: " + err.Error())
	}
	byName, byTitle = map[string]Analyte{}, map[string]Analyte{}
	for _, row := range rows[1:] {
		a := Analyte{Name: row[0], Title: row[1], Unit: row[2], Wear: row[3] != ""}
		if a.Kind, _ = unit.Of(a.Unit); a.Kind == unit.Index {
			a.Unit = ""
		}
		byName[a.Name], byTitle[strings.ToLower(a.Title)] = a, a
		if row[4] != "" {
			byTitle[strings.ToLower(row[4])] = a
		}
	}
	return byName, byTitle
}

// Names lists the names of all analytes, sorted.
func Names() []string { return slices.Clone(names) }

// WearMetals are the names of the metals of which parts are made, sorted.
func WearMetals() []string {
	return slices.DeleteFunc(Names(), func(name string) bool { return !byName[name].Wear })
}

// Of returns the analyte of that name, exactly as rules write it. Results of an unknown
// one are kept and shown, but not judged.
func Of(name string) (a Analyte, ok bool) {
	a, ok = byName[name]
	return a, ok
}

// Known reports whether events and rules may use that name.
func Known(name string) bool { _, ok := byName[name]; return ok }

// UnitOf is the unit in which the analyte of that name is reckoned, "" for an index or
// an unknown name.
func UnitOf(name string) string { return byName[name].Unit }

// Find returns the analyte of that name ("Cu") or of that English title in any case
// ("Copper"). Symbols are taken exactly, since Co is not CO.
func Find(name string) (a Analyte, ok bool) {
	if a, ok = byName[name]; ok {
		return a, true
	}
	a, ok = byTitle[strings.ToLower(name)]
	return a, ok
}

// Named is the analyte as people read it, with the name that the laboratory's sheet
// has for it: "copper (Cu)", "acid number (TAN)", "water". An unknown name stays as it is.
func Named(name string) string {
	if a, ok := byName[name]; ok && a.Title != name {
		return a.Title + " (" + name + ")"
	}
	return name
}
