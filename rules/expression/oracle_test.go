package expression

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/expr-lang/expr"
	"gopkg.in/yaml.v3"
	"pgregory.net/rapid"

	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// oracleEnv is what the expr library's own machine runs the same text on.
type oracleEnv struct {
	Vehicle *word.Vehicle              `expr:"vehicle"`
	Value   func(string) float64       `expr:"value"`
	Change  func(string) float64       `expr:"change"`
	Has     func(string) bool          `expr:"has"`
	Max     func(a, b float64) float64 `expr:"max"`
	Min     func(a, b float64) float64 `expr:"min"`
	Lower   func(string) string        `expr:"lower"`
	Times   func(string) float64       `expr:"times"`
}

// dyadic numbers are reckoned exactly, so that nearness cannot decide.
var dyadic = rapid.Map(rapid.IntRange(-64, 64), func(n int) float64 { return float64(n) / 4 })

// genNumber, genText and genTruth make expressions that compile.
// A number measures what the words of its kind do.
func genNumber(t *rapid.T, words []string, depth int) string {
	if depth <= 0 {
		switch rapid.IntRange(0, 2).Draw(t, "leaf") {
		case 0:
			return strings.TrimPrefix(fmt.Sprintf("%.2f", max(0, dyadic.Draw(t, "n"))), "-")
		case 1:
			return rapid.SampledFrom(words).Draw(t, "word")
		}
		return "-" + rapid.SampledFrom([]string{words[0], "1.5"}).Draw(t, "negative")
	}
	a, b := genNumber(t, words, depth-1), genNumber(t, words, depth-1)
	switch rapid.IntRange(0, 5).Draw(t, "operator") {
	case 0:
		return "(" + a + " + " + b + ")"
	case 1:
		return a + " - (" + b + ")"
	case 2:
		return "(" + a + ") * 0.5"
	case 3:
		return "(" + a + ") / 4"
	case 4:
		return rapid.SampledFrom([]string{"max", "min"}).Draw(t, "f") + "(" + a + ", " + b + ")"
	}
	return "(" + genTruth(t, depth-1) + " ? " + a + " : " + b + ")"
}

func genText(t *rapid.T) string {
	return rapid.SampledFrom([]string{"vehicle.name", "vehicle.kind", `vehicle.tags["road"]`, `vehicle.tags["none"]`, `"van"`, `"Hills"`, `lower("Hills")`}).Draw(t, "text")
}

func genTruth(t *rapid.T, depth int) string {
	if depth <= 0 {
		return rapid.SampledFrom([]string{"true", "false", `has("Fe")`, `has("Pb")`}).Draw(t, "truth")
	}
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0:
		op := rapid.SampledFrom([]string{"<", "<=", ">", ">=", "==", "!="}).Draw(t, "comparison")
		words := rapid.SampledFrom([][]string{{`value("Fe")`, `value("Cu")`, `change("K")`}, {`times("Fe")`}}).Draw(t, "words")
		return genNumber(t, words, depth-1) + " " + op + " " + genNumber(t, words, depth-1)
	case 1:
		op := rapid.SampledFrom([]string{"==", "!=", "contains", "startsWith", "endsWith", "not contains"}).Draw(t, "test")
		return genText(t) + " " + op + " " + genText(t)
	case 2:
		return genText(t) + ` in ["van", "minibus", "hills"]`
	case 3:
		return "not (" + genTruth(t, depth-1) + ")"
	case 4:
		return "(" + genTruth(t, depth-1) + ") && (" + genTruth(t, depth-1) + ")"
	}
	return genTruth(t, depth-1) + " || " + genTruth(t, depth-1)
}

// TestAgainstTheLibrarysMachine compares whole expressions with what the expr
// library's own compiler and virtual machine make of the same text.
func TestAgainstTheLibrarysMachine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := genTruth(t, rapid.IntRange(0, 4).Draw(t, "depth"))
		f := sheet{}
		for _, k := range []string{`value("Fe")`, `value("Cu")`, `change("K")`, `times("Fe")`} {
			f[k] = dyadic.Draw(t, k)
		}
		number := func(word string) func(string) float64 {
			return func(a string) float64 { return f[fmt.Sprintf("%s(%q)", word, a)] }
		}
		env := oracleEnv{Vehicle: f.Vehicle(), Value: number("value"), Change: number("change"), Times: number("times"),
			Has: func(a string) bool { return a == "Fe" }, Lower: strings.ToLower,
			Max: func(a, b float64) float64 { return max(a, b) }, Min: func(a, b float64) float64 { return min(a, b) }}
		program, err := expr.Compile(text, expr.Env(oracleEnv{}), expr.AsBool())
		if err != nil {
			t.Fatal(text, err)
		}
		want, err := expr.Run(program, env)
		if err != nil {
			t.Fatal(text, err)
		}
		c, err := compiled(text, Truth)
		if err != nil {
			t.Fatalf("%s\n%v", text, err)
		}
		var got bool
		var run Runner
		if missing := run.EachEnd(f, c.asks, func() { got = run.Truth(c) }); missing != nil {
			t.Fatalf("%s: missing %v", text, missing)
		}
		if got != want {
			t.Fatalf("%s: got %v want %v", text, got, want)
		}
	})
}

// compiled compiles an expression outside a file.
func compiled(text string, want Kind) (*Condition, error) {
	d, _ := source.Read("a.yaml", []byte("x: 1\n"))
	l := NewLanguage()
	l.Tasks = []string{"oil"}
	l.Mean["Fe"], l.Mean["Cu"] = true, true
	n := &yaml.Node{Kind: yaml.ScalarNode, Value: text, Line: 1, Column: 1}
	c := l.compile(newExcerpt(d, n, text), Scope{What: "it", Want: want, Words: true, Measure: true, Stage: true, Units: unit.System{Distance: "km", Volume: "L"}}, &Asks{})
	return c, d.Err()
}

// sheet answers by what evidence shows of a word: `value("Cu")`. Iron alone is in it.
type sheet map[string]float64

func (s sheet) Vehicle() *word.Vehicle {
	return &word.Vehicle{Name: "bus-07", Kind: "minibus", Tags: map[string]string{"road": "hills"}}
}
func (s sheet) Component() *word.Component {
	return &word.Component{Name: "gearbox", Kind: "automatic transmission", Fluid: "ATF", Capacity: 8}
}
func (s sheet) Number(w word.Word, arg string) (float64, string, bool) {
	v, ok := s[word.Called(w.String()).Asked(arg)]
	return v, arg + " for " + w.String(), ok
}
func (s sheet) Truth(w word.Word, arg string) (bool, string, bool) {
	return arg == "Fe", arg + " for " + w.String(), w == word.Has
}
func (s sheet) Ends(uint32)                   {}
func (s sheet) Censored() int                 { return 0 }
func (s sheet) Note(word.Word, string) string { return "" }

var nan, inf = math.NaN(), math.Inf(1)

// TestEqual compares with the definition over all magnitudes.
func TestEqual(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// A number so small has too few digits, and one so large no neighbour above.
		a := rapid.Float64().Filter(func(a float64) bool {
			size := math.Abs(a)
			return a == 0 || size >= 1e-300 && size < math.MaxFloat64*(1-1e-8)
		}).Draw(t, "a")
		step := rapid.SampledFrom([]float64{0, 1e-12, 5e-10, 9e-10, 1.2e-9, 1e-6, 1}).Draw(t, "step")
		b := a * (1 + step)
		if want := step < 1e-9 || a == 0; Equal(a, b) != want || Equal(b, a) != want {
			t.Fatal(a, b, want)
		}
	})
	for _, c := range []struct {
		a, b float64
		want bool
	}{{nan, nan, false}, {inf, inf, true}, {inf, 1e308, false}, {inf, -inf, false}, {0, 1e-12, false}, {-1, 1, false}} {
		if Equal(c.a, c.b) != c.want {
			t.Error(c)
		}
	}
}

func TestFormatAndRound(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{{3.275, "3.275"}, {0.1 + 0.2, "0.3"}, {math.Copysign(0, -1), "0"}, {1e15, "1000000000000000"}, {81234.5, "81234.5"}, {1.0 / 3, "0.3333333333"},
		{99.99999999999999, "100"}, {nan, "n/a"}, {inf, "n/a"}, {round(3.275, 1), "3.3"}, {round(-2.5, 0), "-3"}, {round(81234.5, -3), "81000"},
		{round(1e300, 9), english.Number(1e300)}, {round(0.05, 1), "0.1"}} {
		if got := english.Number(c.v); got != c.want {
			t.Errorf("%v: got %s want %s", c.v, got, c.want)
		}
	}
}
