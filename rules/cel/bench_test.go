// Package cel runs the benchmark of many rules on another machine for expressions, cel-go,
// beside those of package rules. It is a module of its own, so that the product does not
// carry that library:
//
//	cd rules/cel && go test -bench .
package cel

import (
	"fmt"
	"regexp"
	"testing"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"

	"telltale/testdata/manyrules"
)

// BenchmarkOtherMachine runs the conditions of telltale/rules BenchmarkJudge on cel-go,
// with facts filled by hand.
func BenchmarkOtherMachine(b *testing.B) {
	for _, n := range manyrules.Sizes {
		b.Run(fmt.Sprint(n), func(b *testing.B) { run(b, n) })
	}
}

// sheet is the vehicle that is judged; the functions of the environment look at it.
type sheet struct{ *manyrules.Sheet }

func (s *sheet) environment(b *testing.B) *cel.Env {
	number := func(arg ref.Val) ref.Val { return types.Double(s.Values[string(arg.(types.String))]) }
	options := []cel.EnvOption{
		cel.Function("has_result", cel.Overload("has_result", []*cel.Type{cel.StringType}, cel.BoolType,
			cel.UnaryBinding(func(arg ref.Val) ref.Val { _, ok := s.Values[string(arg.(types.String))]; return types.Bool(ok) }))),
		cel.Function("odometer", cel.Overload("odometer", nil, cel.DoubleType,
			cel.FunctionBinding(func(...ref.Val) ref.Val { return types.Double(manyrules.Odometer) }))),
	}
	for _, name := range []string{"value", "times", "fresh", "change"} {
		options = append(options, cel.Function(name, cel.Overload(name, []*cel.Type{cel.StringType}, cel.DoubleType, cel.UnaryBinding(number))))
	}
	env, err := cel.NewEnv(options...)
	if err != nil {
		b.Fatal(err)
	}
	return env
}

var whole = regexp.MustCompile(`([<>=] )([0-9]+)\b`)

func run(b *testing.B, n int) {
	s := &sheet{}
	env, fleet := s.environment(b), manyrules.Fleet()
	lists := make([][]cel.Program, manyrules.Classes)
	for i := range n {
		// has is a macro there, and a whole number is no double.
		text := whole.ReplaceAllString(regexp.MustCompile(`\bhas\(`).ReplaceAllString(manyrules.Condition(i), "has_result("), "${1}${2}.0")
		ast, issues := env.Compile(text)
		if issues.Err() != nil {
			b.Fatal(issues.Err())
		}
		program, err := env.Program(ast)
		if err != nil {
			b.Fatal(err)
		}
		lists[i%len(lists)] = append(lists[i%len(lists)], program)
	}
	b.ReportAllocs()
	run, raised := 0, 0
	for b.Loop() {
		manyrules.Samples(n, func(i int) {
			s.Sheet = fleet[i]
			for _, program := range lists[i%len(lists)] {
				out, _, err := program.Eval(cel.NoVars())
				if err != nil {
					b.Fatal(err)
				}
				if out == types.True {
					raised++
				}
				run++
			}
		})
	}
	b.ReportMetric(float64(run)/b.Elapsed().Seconds(), "conditions/s")
}
