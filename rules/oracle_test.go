package rules

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/expr-lang/expr"
	"gopkg.in/yaml.v3"
	"pgregory.net/rapid"

	"telltale/rules/english"
)

// oracleEnv is what the expr library's own machine runs the same text on.
type oracleEnv struct {
	Vehicle *Vehicle                   `expr:"vehicle"`
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
func genNumber(t *rapid.T, depth int) string {
	if depth <= 0 {
		switch rapid.IntRange(0, 2).Draw(t, "leaf") {
		case 0:
			return strings.TrimPrefix(fmt.Sprintf("%.2f", max(0, dyadic.Draw(t, "n"))), "-")
		case 1:
			return rapid.SampledFrom([]string{`value("Fe")`, `value("Cu")`, `change("K")`, `times("Fe")`}).Draw(t, "word")
		}
		return "-" + rapid.SampledFrom([]string{`value("Fe")`, "1.5"}).Draw(t, "negative")
	}
	a, b := genNumber(t, depth-1), genNumber(t, depth-1)
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
		return genNumber(t, depth-1) + " " + op + " " + genNumber(t, depth-1)
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
		source := genTruth(t, rapid.IntRange(0, 4).Draw(t, "depth"))
		f := &fakeFacts{comp: gearbox, numbers: map[string]float64{}}
		for _, k := range []string{`value("Fe")`, `value("Cu")`, `change("K")`, `times("Fe")`} {
			f.numbers[k] = dyadic.Draw(t, k)
		}
		number := func(word string) func(string) float64 {
			return func(a string) float64 { return f.numbers[fmt.Sprintf("%s(%q)", word, a)] }
		}
		env := oracleEnv{Vehicle: f.Vehicle(), Value: number("value"), Change: number("change"), Times: number("times"),
			Has: func(a string) bool { return a == "Fe" }, Lower: strings.ToLower,
			Max: func(a, b float64) float64 { return max(a, b) }, Min: func(a, b float64) float64 { return min(a, b) }}
		program, err := expr.Compile(source, expr.Env(oracleEnv{}), expr.AsBool())
		if err != nil {
			t.Fatal(source, err)
		}
		want, err := expr.Run(program, env)
		if err != nil {
			t.Fatal(source, err)
		}
		d, l := scratch(source)
		c := d.compile(newSource(d, &yaml.Node{Kind: yaml.ScalarNode, Value: source, Line: 1, Column: 1}, source), scope{what: "it", want: truth, words: true}, newAsks())
		if c == nil {
			t.Fatalf("%s\n%v", source, l.faults)
		}
		var got bool
		j := NewJudge(l.book)
		if missing := j.eachEnd(f, c.asks, func() { got = j.truth(c) }); missing != nil {
			t.Fatalf("%s: missing %v", source, missing)
		}
		if got != want {
			t.Fatalf("%s: got %v want %v", source, got, want)
		}
	})
}

// scratch is a document of one line for compiling outside a file.
func scratch(text string) (*document, *loader) {
	l := &loader{book: &Book{Units: Units{"km", "L"}}, parser: parserConfig(), taskAt: map[string]Place{"oil": {}},
		means: map[string]bool{"Fe": true, "Cu": true}, nearBudget: nearWork}
	return &document{l: l, name: "a.yaml", lines: lineBreak.Split(text, -1)}, l
}

// TestPlacesInScalars checks, for every style in which YAML can write a value,
// that each rune of the value is found where it stands.
func TestPlacesInScalars(t *testing.T) {
	styles := map[string]yaml.Style{"plain": 0, "double": yaml.DoubleQuotedStyle, "single": yaml.SingleQuotedStyle, "literal": yaml.LiteralStyle, "folded": yaml.FoldedStyle}
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.StringOfN(rapid.SampledFrom([]rune(`ab "'\:>ä→x7 &|#(,)`+"\n")), 1, 200, -1).Draw(t, "value")
		style := rapid.SampledFrom([]string{"plain", "double", "single", "literal", "folded"}).Draw(t, "style")
		out, err := yaml.Marshal(map[string]*yaml.Node{"key": {Kind: yaml.ScalarNode, Tag: "!!str", Value: value, Style: styles[style]}})
		if err != nil {
			t.Skip(err)
		}
		var root yaml.Node
		if err := yaml.Unmarshal(out, &root); err != nil {
			t.Skip(err)
		}
		n := root.Content[0].Content[1]
		d, _ := scratch(string(out))
		offset := 0
		for _, r := range n.Value {
			if !blank(r) {
				line, col := d.at(n, offset)
				runes := d.line(line)
				if col > len(runes) || runes[col-1] != r && runes[col-1] != '\\' {
					t.Fatalf("%s\nrune %d, %q of %q, is not at %d:%d", out, offset, r, n.Value, line, col)
				}
			}
			offset++
		}
	})
}

// TestEqual compares with the definition over all magnitudes.
func TestEqual(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64().Draw(t, "a")
		step := rapid.SampledFrom([]float64{0, 1e-12, 5e-10, 9e-10, 1.2e-9, 1e-6, 1}).Draw(t, "step")
		b := a * (1 + step)
		if !finite(a) || !finite(b) || a != 0 && (a < 1e-300 && a > -1e-300) {
			t.Skip()
		}
		if want := step < 1e-9 || a == 0; Equal(a, b) != want || Equal(b, a) != want {
			t.Fatal(a, b, want)
		}
	})
	for _, c := range []struct {
		a, b float64
		want bool
	}{{nan, nan, false}, {inf(1), inf(1), true}, {inf(1), 1e308, false}, {inf(1), inf(-1), false}, {0, 1e-12, false}, {-1, 1, false}} {
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
		{99.99999999999999, "100"}, {nan, "n/a"}, {inf(1), "n/a"}, {round(3.275, 1), "3.3"}, {round(-2.5, 0), "-3"}, {round(81234.5, -3), "81000"},
		{round(1e300, 9), english.Number(1e300)}, {round(0.05, 1), "0.1"}} {
		if got := english.Number(c.v); got != c.want {
			t.Errorf("%v: got %s want %s", c.v, got, c.want)
		}
	}
}
