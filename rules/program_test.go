package rules

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// programExpressions ask in many ways; some share a word with another, and some a whole.
var programExpressions = []string{
	`measure: value("Cu")` + "\n    above: {advisory: 40, warning: 90}",
	`measure: value("Cu")` + "\n    above: {advisory: 40, warning: 2 * value(\"Fe\")}",
	`measure: value("Cu")` + "\n    above: {caution: 60}",
	`measure: value("Fe")` + "\n    above: {caution: 60}",
	`raise: value("Cu") > 50 && value("Fe") > 20` + "\n    stage: caution",
	`raise: value("Fe") > 20 && value("Cu") > 50` + "\n    stage: caution",
	`raise: value("Cu") > 50 && value("Fe") > 20` + "\n    clear: value(\"Fe\") < 10\n    stage: advisory",
	`raise: let f = value("Fe"); f > 20 && odometer() > 30` + "\n    stage: caution",
}

func programBook(t interface{ Fatalf(string, ...any) }, expressions []string) *Book {
	var b strings.Builder
	b.WriteString("book: 1\nunits: {distance: km}\nrules:\n")
	for i, e := range expressions {
		fmt.Fprintf(&b, "  r%d:\n    on: sample\n    %s\n", i, e)
	}
	book, err := Load([]File{{"a.yaml", []byte(b.String())}})
	if err != nil {
		t.Fatalf("%v", err)
	}
	return book
}

// A rule gives the same, with the same evidence, whatever other rules it shares with.
func TestSharedGivesTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		asked := rapid.SliceOfN(rapid.SampledFrom(programExpressions), 1, 8).Draw(t, "rules")
		together := programBook(t, asked)
		f := &fakeFacts{numbers: map[string]float64{"odometer()": 30_000}}
		for _, a := range []string{"Cu", "Fe"} {
			if rapid.Bool().Draw(t, "has "+a) {
				f.numbers[`value("`+a+`")`] = rapid.Float64Range(0, 100).Draw(t, a)
			}
		}
		j := NewJudge(together)
		for i, e := range asked {
			alone := programBook(t, []string{e})
			k := NewJudge(alone)
			got, want := judgedWhole(j, together.Rules[i], f), judgedWhole(k, alone.Rules[0], f)
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("%s: together %v, alone %v", e, got, want)
			}
		}
	})
}

// judgedWhole is what a rule gives and why, as text, since limits that a rule lacks are
// not equal to themselves.
func judgedWhole(j *Judge, r *Rule, f *fakeFacts) []string {
	out := j.Run(r, f)
	all := []string{fmt.Sprint(out.Ends, out.Missing, j.Read())}
	if _, evidence, ok := j.Explain(r, f); ok {
		all = append(all, fmt.Sprint(evidence))
	}
	return all
}

// What is wrong with a rule is told at each, also where they are written alike.
func TestSharedFaultsAreToldAtEach(t *testing.T) {
	_, err := Load([]File{{"a.yaml", []byte("book: 1\nrules:\n  a:\n    on: clock\n    raise: value(\"Cu\") > 50\n    stage: caution\n" +
		"  b:\n    on: clock\n    raise: value(\"Cu\") > 50\n    stage: caution\n")}})
	for _, place := range []string{"a.yaml:5:", "a.yaml:9:"} {
		if err == nil || !strings.Contains(err.Error(), place) {
			t.Errorf("no fault at %s: %v", place, err)
		}
	}
}
