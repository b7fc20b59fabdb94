package chapters_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"telltale/rules/analytes"
	"telltale/rules/chapters"
)

// askedOf are the rules of a chapter on samples, as they are written, by name.
func askedOf(t *testing.T, name string) map[string]map[string]any {
	t.Helper()
	c, err := chapters.Named(name)
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Rules map[string]map[string]any }
	if err := yaml.Unmarshal(c.Text, &file); err != nil {
		t.Fatal(err)
	}
	return file.Rules
}

var (
	againAsked = regexp.MustCompile(`(?i)sample again|second sample|take a sample`)
	stageKeys  = map[string]bool{"advisory": true, "caution": true, "warning": true}
)

// Who is told to sample again finds it on the list of what is due, and it is settled by a
// sample.
func TestSampleAgainIsFollowed(t *testing.T) {
	for _, chapter := range []string{"engine-oil", "automatic-transmission"} {
		n := 0
		for name, r := range askedOf(t, chapter) {
			if !againAsked.MatchString(fmt.Sprint(r["advise"])) {
				continue
			}
			n++
			settled := false
			follow, _ := r["follow up"].(map[string]any)
			for key, f := range follow {
				f, _ := f.(map[string]any)
				if stageKeys[key] { // given by stage
					for _, one := range f {
						one, _ := one.(map[string]any)
						settled = settled || one["settled by"] == "sample"
					}
				}
				settled = settled || f["settled by"] == "sample"
			}
			if !settled {
				t.Errorf("%s: %q asks for a sample, and no follow-up is settled by one", chapter, name)
			}
		}
		if n < 15 {
			t.Errorf("%s: %d rules ask for another sample, want most of them", chapter, n)
		}
	}
}

// What is dangerous whatever a second sample says has the engine stopped by the first.
func TestStopsAtOnce(t *testing.T) {
	for chapter, names := range map[string][]string{
		"engine-oil":             {"bearing metals in the engine oil", "coolant in the engine oil", "glycol in the engine oil"},
		"automatic-transmission": {"bushing lining in the fluid", "coolant in the fluid"},
	} {
		all := askedOf(t, chapter)
		for _, name := range names {
			r := all[name]
			if advise := fmt.Sprint(r["advise"]); r["stage"] != "warning" || !strings.Contains(advise, "Stop") || r["cautions"] == nil || r["confirm"] != nil {
				t.Errorf("%s: %q is %v, advises %q, minds %v", chapter, name, r["stage"], advise, r["cautions"])
			}
		}
	}
}

// Any metal of which parts are made, at twelve times what is usual, is told of, and the
// sheet is not called normal.
func TestEveryWearMetalIsRead(t *testing.T) {
	for kind, fluid := range map[string]string{"diesel engine": "5W-30", "petrol engine": "0W-20", "automatic transmission": "ATF"} {
		for _, metal := range analytes.WearMetals() {
			var means, usual []string
			for _, m := range analytes.WearMetals() {
				means = append(means, m+": 10")
				usual = append(usual, m+" 10")
			}
			book := load(t, fmt.Sprintf("book: 1\nbaselines: {own: {over: [engine oil of the fleet, transmission fluid of the fleet], where: 'component.kind == %q', fluid age: 15000 km, source: invented, mean: {%s}}}\n",
				kind, strings.Join(means, ", ")))
			at := strings.ReplaceAll(strings.Join(usual, " "), metal+" 10", metal+" 120")
			v, err := lastVerdict(book, "bus-01", "part", []string{
				fmt.Sprintf(`2031-01-02 vehicle bus-01 minibus meter odometer component part %q fluid %q capacity 7 L`, kind, fluid),
				"2031-02-01 sample bus-01 part odo 50000 age 15000 km " + at})
			if err != nil {
				t.Fatal(err)
			}
			if v.Stage == "normal" || v.AllClear {
				t.Errorf("%s: %s at twelve times what is usual: %s", kind, metal, v.Summary)
			}
		}
	}
}
