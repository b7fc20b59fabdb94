package rules

import (
	"fmt"
	"strings"
	"testing"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"

	"telltale/rules/word"
)

// The fleet of the benchmarks: rules for pairs of kind and fluid, vehicles of
// one component each.
const (
	benchKinds    = 10
	benchFluids   = 10
	benchRules    = 1000
	benchVehicles = 10_000
	benchEvents   = 200_000
)

// benchConditions are what the rules ask, in turn.
var benchConditions = []string{
	`times("Cu") >= 3`,
	`value("Fe") >= 150 && odometer() > 5000`,
	`value("Na") - fresh("Na") > 15 && change("K") > 0`,
	`has("Si") && value("Si") > 40 || times("Fe") > 5`,
}

// sheetFacts answers at once, so that the judging itself is measured.
type sheetFacts struct {
	vehicle word.Vehicle
	comp    word.Component
	values  map[string]float64
}

func (f *sheetFacts) Vehicle() *word.Vehicle     { return &f.vehicle }
func (f *sheetFacts) Component() *word.Component { return &f.comp }
func (f *sheetFacts) Number(w word.Word, arg string) (float64, string, bool) {
	if w == word.Odometer {
		return 81234e3, "", true
	}
	v, ok := f.values[arg]
	return v, "missing", ok
}
func (f *sheetFacts) Truth(w word.Word, arg string) (bool, string, bool) {
	_, ok := f.values[arg]
	return ok, "", true
}
func (f *sheetFacts) Ends(uint32)                   {}
func (f *sheetFacts) Censored() int                 { return 0 }
func (f *sheetFacts) Note(word.Word, string) string { return "" }

func benchFleet() (text string, fleet []*sheetFacts) {
	var b strings.Builder
	b.WriteString("book: 1\nbaselines: {b: {source: invented, fluid age: 60000 km, mean: {Fe: 90, Cu: 40}}}\nrules:\n")
	for i := range benchRules {
		fmt.Fprintf(&b, "  r%04d:\n    on: sample\n    where: component.kind == \"kind %d\" && component.fluid == \"fluid %d\"\n    raise: %s\n    stage: caution\n",
			i, i%benchKinds, i/benchKinds%benchFluids, benchConditions[i/100%len(benchConditions)])
	}
	for i := range benchVehicles {
		fleet = append(fleet, &sheetFacts{vehicle: word.Vehicle{Name: fmt.Sprint("bus-", i), Kind: "bus"},
			comp:   word.Component{Name: "box", Kind: fmt.Sprint("kind ", i%benchKinds), Fluid: fmt.Sprint("fluid ", i/benchKinds%benchFluids)},
			values: map[string]float64{"Fe": float64(i % 200), "Cu": 1.5, "Na": 12, "K": 3, "Si": 14}})
	}
	return b.String(), fleet
}

// BenchmarkJudge judges every rule that applies to each of 200,000 samples in
// turn; BenchmarkRawMachine runs the same conditions on the expr library's
// virtual machine with hand-filled facts. Both report conditions a second.
func BenchmarkJudge(b *testing.B) {
	text, fleet := benchFleet()
	book := load(b, text)
	j := NewJudge(book)
	applied := make([]*Applied, len(fleet))
	for i, f := range fleet {
		applied[i] = book.For(j, &f.vehicle, []word.Component{f.comp})
	}
	b.ReportAllocs()
	run, raised := 0, 0
	for b.Loop() {
		for event := range benchEvents {
			i := event * 7919 % benchVehicles
			for _, a := range applied[i].Rules {
				if judged := j.Run(a.Rule, fleet[i]); len(judged.Ends) > 0 && judged.Ends[0].Raise {
					raised++
				}
				run++
			}
		}
	}
	b.ReportMetric(float64(run)/b.Elapsed().Seconds(), "conditions/s")
}

// BenchmarkRawMachine is the yardstick beside BenchmarkJudge.
func BenchmarkRawMachine(b *testing.B) {
	type env struct {
		Value, Times, Fresh, Change func(string) float64
		Has                         func(string) bool
		Odometer                    func() float64
	}
	_, fleet := benchFleet()
	lists := make([][]*vm.Program, benchKinds*benchFluids) // by class
	for i := range benchRules {
		c := benchConditions[i/100%len(benchConditions)]
		for _, name := range []string{"value", "times", "fresh", "change", "has", "odometer"} {
			c = strings.ReplaceAll(c, name+"(", strings.ToUpper(name[:1])+name[1:]+"(")
		}
		program, err := expr.Compile(c, expr.Env(env{}), expr.AsBool())
		if err != nil {
			b.Fatal(err)
		}
		lists[i%len(lists)] = append(lists[i%len(lists)], program)
	}
	envs := make([]env, len(fleet))
	for i, f := range fleet {
		number := func(a string) float64 { return f.values[a] }
		envs[i] = env{number, number, number, number, func(a string) bool { _, ok := f.values[a]; return ok }, func() float64 { return 81234 }}
	}
	var machine vm.VM
	b.ReportAllocs()
	run, raised := 0, 0
	for b.Loop() {
		for event := range benchEvents {
			i := event * 7919 % benchVehicles
			for _, program := range lists[i%len(lists)] {
				out, err := machine.Run(program, &envs[i])
				if err != nil {
					b.Fatal(err)
				}
				if out.(bool) {
					raised++
				}
				run++
			}
		}
	}
	b.ReportMetric(float64(run)/b.Elapsed().Seconds(), "conditions/s")
}

// BenchmarkFor resolves every `where` of 1,000 rules for one vehicle: the first of
// its class, and one that is like another.
func BenchmarkFor(b *testing.B) {
	text, fleet := benchFleet()
	book := load(b, text)
	j := NewJudge(book)
	comps := []word.Component{fleet[7].comp}
	for _, name := range []string{"first", "alike"} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if name == "first" {
					clear(j.applied)
				}
				book.For(j, &fleet[7].vehicle, comps)
			}
		})
	}
}

// BenchmarkLoad checks and compiles 1,000 rules.
func BenchmarkLoad(b *testing.B) {
	text, _ := benchFleet()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		load(b, text)
	}
}
