package notify

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/notify/people"
	"telltale/rules/word"
)

func TestFigures(t *testing.T) {
	p := readerOf(&people.Person{Distance: "mi", Volume: "qt"})
	got := p.Figures([]word.Evidence{
		{Of: `has("Fe")`, Value: 1},
		{Of: `times("Cu")`, Value: 3.275, Note: "light bus transmission fluid, mean 40"},
		{Of: `times("Fe")`, Value: 2.5, Note: "light bus transmission fluid, mean 40"},
		{Of: `viscosityIndex()`, Value: 94},
		{Of: `metalsFell()`, Value: 1, Note: "yes"},
		{Of: `changeIsReal("Fe")`, Value: 0, Note: "± 9 mg/kg by the method alone"},
		{Of: `exchangesTo("Na", 15)`, Value: 2},
		{Of: `litresTo("Na", 15)`, Value: 8, Unit: "L"},
		{Of: `since("engine oil")`, Value: 16093.44, Unit: "km"},
		{Of: "odometer", Value: 81234.5, Unit: "km"},
		{Of: "si", Value: 38}, // of a let
		{Of: `0.12 * si`, Value: 4.56},
		{Of: `component.fluid contains "W-20" ? 6.9 : 9.3`, Value: 6.9},
		{Of: `max(20, 4 * usual("Cu"))`, Value: 160},
		{Of: `excess("Na")`, Value: 62.15, Unit: "mg/kg", Note: "usual 5.85 mg/kg, of it 4 in fresh fluid, weighed with 1 earlier sample of its own; light bus transmission fluid, mean 40"},
		{Of: "soften by age", Value: 1.037, Note: "the fluid has run 1.04 times as long"},
	}, false)
	want := []string{
		"copper, times the baseline: 3.275 (light bus transmission fluid)",
		"iron, times the baseline: 2.5",
		"viscosity index: 94",
		"exchanges like the last one until sodium is at 15 mg/kg: 2",
		"fluid for exchanges until sodium is at 15 mg/kg: 8.5 qt",
		"since engine oil: 10,000 mi",
		"odometer: 50,477 mi",
		"sodium beyond what is usual: 62.15 mg/kg (usual 5.85 mg/kg)",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Evidence of each word is told without the call that a rule writes.
func TestFiguresOfEachWord(t *testing.T) {
	for _, w := range word.All() {
		if w.Word == word.HoursPerDay {
			w.Name = word.PerDay.String() // by which it is called
		}
		call := regexp.MustCompile(w.Name + `\([^)]*\)`).FindString(w.Example)
		if call == "" {
			t.Fatalf("the example of %s does not call it: %s", w.Name, w.Example)
		}
		for _, s := range (readerOf(&people.Person{})).Figures([]word.Evidence{{Of: call, Value: 1}}, false) {
			camel := strings.ToLower(w.Name) != w.Name && strings.Contains(s, w.Name)
			if strings.ContainsAny(s, `()"%`) || strings.HasPrefix(s, w.Name+":") && w.Name != "odometer" || camel {
				t.Errorf("%s is told as %q", w.Name, s)
			}
		}
	}
}
