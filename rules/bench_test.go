package rules_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"

	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/word"
	"telltale/testdata/manyrules"
)

// eachSize runs a benchmark with a book of each size.
func eachSize(b *testing.B, run func(b *testing.B, rules int)) {
	for _, n := range manyrules.Sizes {
		b.Run(fmt.Sprint(n), func(b *testing.B) { run(b, n) })
	}
}

func loadMany(b *testing.B, n int) *rules.Book {
	b.Helper()
	book, err := rules.Load(manyrules.Book(n))
	if err != nil {
		b.Fatal(err)
	}
	return book
}

// BenchmarkJudge judges every rule that applies to each sample in turn; BenchmarkRawMachine
// runs the same conditions on the expr library's virtual machine with hand-filled facts.
// Both report conditions a second. BenchmarkOtherMachine in rules/cel is beside them.
func BenchmarkJudge(b *testing.B) { eachSize(b, judgeMany) }

func judgeMany(b *testing.B, n int) {
	book, fleet := loadMany(b, n), manyrules.Fleet()
	j := rules.NewJudge(book)
	finder := applies.NewFinder(book)
	applied := make([]*applies.Parts, len(fleet))
	for i, f := range fleet {
		applied[i] = finder.To(&f.Of, []word.Component{f.Part})
	}
	b.ReportAllocs()
	run, raised := 0, 0
	for b.Loop() {
		manyrules.Samples(n, func(i int) {
			for _, a := range applied[i].Rules {
				if judged := j.Run(a.Rule, fleet[i]); len(judged.Ends) > 0 && judged.Ends[0].Raise {
					raised++
				}
				run++
			}
		})
	}
	b.ReportMetric(float64(run)/b.Elapsed().Seconds(), "conditions/s")
}

// BenchmarkRawMachine is the yardstick beside BenchmarkJudge.
func BenchmarkRawMachine(b *testing.B) { eachSize(b, rawMachine) }

func rawMachine(b *testing.B, n int) {
	type env struct {
		Value, Times, Fresh, Change func(string) float64
		Has                         func(string) bool
		Odometer                    func() float64
	}
	fleet := manyrules.Fleet()
	lists := make([][]*vm.Program, manyrules.Classes)
	for i := range n {
		c := manyrules.Condition(i)
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
		number := func(a string) float64 { return f.Values[a] }
		envs[i] = env{number, number, number, number, func(a string) bool { _, ok := f.Values[a]; return ok }, func() float64 { return manyrules.Odometer }}
	}
	var machine vm.VM
	b.ReportAllocs()
	run, raised := 0, 0
	for b.Loop() {
		manyrules.Samples(n, func(i int) {
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
		})
	}
	b.ReportMetric(float64(run)/b.Elapsed().Seconds(), "conditions/s")
}

// BenchmarkFor resolves every `where` of 1,000 rules for one vehicle: the first of
// its class, and one that is like another.
func BenchmarkFor(b *testing.B) {
	book, sheet := loadMany(b, manyrules.Sizes[0]), manyrules.Fleet()[7]
	comps := []word.Component{sheet.Part}
	for _, name := range []string{"first", "alike"} {
		b.Run(name, func(b *testing.B) {
			finder := applies.NewFinder(book)
			b.ReportAllocs()
			for b.Loop() {
				if name == "first" {
					finder = applies.NewFinder(book)
				}
				finder.To(&sheet.Of, comps)
			}
		})
	}
}

// BenchmarkLoad checks and compiles books.
func BenchmarkLoad(b *testing.B) {
	eachSize(b, func(b *testing.B, n int) {
		for b.Loop() {
			loadMany(b, n)
		}
	})
}
