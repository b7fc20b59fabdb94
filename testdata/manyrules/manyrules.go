// Package manyrules is a book of many rules and a fleet that answers them at once, for
// benchmarks that judge: in this module, and beside other machines in one of its own.
package manyrules

import (
	"fmt"
	"strings"

	"telltale/rules"
	"telltale/rules/word"
)

// The rules are for pairs of kind and fluid, the vehicles have one component each.
const (
	kinds    = 10
	fluids   = 10
	Classes  = kinds * fluids
	vehicles = 10_000
	events   = 200_000
	aFile    = 1000 // rules of a file
)

// Sizes are the numbers of rules of a book.
var Sizes = []int{1000, 10_000}

// Conditions are what the rules ask, in turn.
var Conditions = []string{
	`times("Cu") >= 3`,
	`value("Fe") >= 150 && odometer() > 5000`,
	`value("Na") - fresh("Na") > 15 && change("K") > 0`,
	`has("Si") && value("Si") > 40 || times("Fe") > 5`,
}

// Condition is what rule i asks.
func Condition(i int) string { return Conditions[i/Classes%len(Conditions)] }

// Sheet answers at once, so that the judging itself is measured.
type Sheet struct {
	Of     word.Vehicle
	Part   word.Component
	Values map[string]float64
}

// Odometer is what every vehicle's odometer reads, in km.
const Odometer = 81234

func (f *Sheet) Vehicle() *word.Vehicle     { return &f.Of }
func (f *Sheet) Component() *word.Component { return &f.Part }

// Number implements [word.Facts], as the others do.
func (f *Sheet) Number(w word.Word, arg string) (float64, string, bool) {
	if w == word.Odometer {
		return Odometer * 1000, "", true
	}
	v, ok := f.Values[arg]
	return v, "missing", ok
}

func (f *Sheet) Truth(_ word.Word, arg string) (bool, string, bool) {
	_, ok := f.Values[arg]
	return ok, "", true
}
func (f *Sheet) Ends(uint32)                   {}
func (f *Sheet) Censored() int                 { return 0 }
func (f *Sheet) Note(word.Word, string) string { return "" }

// Book is a book of n rules, so many of them in a file.
func Book(n int) []rules.File {
	var files []rules.File
	for first := 0; first < n; first += aFile {
		var b strings.Builder
		b.WriteString("book: 1\nunits: {distance: km}\n")
		if first == 0 {
			b.WriteString("baselines: {b: {source: invented, fluid age: 60000 km, mean: {Fe: 90, Cu: 40}}}\n")
		}
		b.WriteString("rules:\n")
		for i := first; i < min(n, first+aFile); i++ {
			fmt.Fprintf(&b, "  r%05d:\n    on: sample\n    where: component.kind == \"kind %d\" && component.fluid == \"fluid %d\"\n    raise: %s\n    stage: caution\n",
				i, i%kinds, i/kinds%fluids, Condition(i))
		}
		files = append(files, rules.File{Name: fmt.Sprintf("%02d.yaml", first/aFile), Text: []byte(b.String())})
	}
	return files
}

// Fleet is the vehicles; one of class c stands at each place that is c modulo [Classes].
func Fleet() []*Sheet {
	var fleet []*Sheet
	for i := range vehicles {
		fleet = append(fleet, &Sheet{Of: word.Vehicle{Name: fmt.Sprint("bus-", i), Kind: "bus"},
			Part:   word.Component{Name: "box", Kind: fmt.Sprint("kind ", i%kinds), Fluid: fmt.Sprint("fluid ", i/kinds%fluids)},
			Values: map[string]float64{"Fe": float64(i % 200), "Cu": 1.5, "Na": 12, "K": 3, "Si": 14}})
	}
	return fleet
}

// Samples visits the vehicle of each sample in turn; the larger the book the fewer, so
// that any book has as many conditions judged.
func Samples(rules int, visit func(vehicle int)) {
	for event := range events * Sizes[0] / rules {
		visit(event * 7919 % vehicles)
	}
}
