package samples_test

import (
	"io/fs"
	"regexp"
	"strings"
	"testing"

	"telltale/samples"
)

// storyVehicles are those that a story of README.md is about, by what stands in
// brackets in its title.
var storyVehicles = map[string][]string{"the mobile library": {"library-01"}, "the gritters": {"gritter-01", "gritter-02"}}

// What README.md tells of is what is tested: each rule, task or follow-up in italics
// in a story is among the stories for its vehicle, and each of those is told.
func TestREADMETellsWhatIsTested(t *testing.T) {
	text, err := fs.ReadFile(samples.FS, "README.md")
	if err != nil {
		t.Fatal(err)
	}
	untold := map[string]bool{}
	for _, s := range stories {
		untold[s.vehicle+": "+s.rule] = true
	}
	tested := map[string]bool{}
	for s := range untold {
		tested[s] = true
	}
	_, told, _ := strings.Cut(string(text), "## The stories")
	for p := range strings.SplitSeq(told, "\n\n") {
		p = strings.Join(strings.Fields(p), " ")
		title := regexp.MustCompile(`^\*\*.+? \((.+?)\)\.\*\* `).FindStringSubmatch(p)
		if title == nil {
			continue
		}
		vehicles := storyVehicles[title[1]]
		if vehicles == nil {
			name := strings.ToLower(strings.ReplaceAll(title[1], " ", "-0"))
			if len(name) > len("bus-01") && strings.HasPrefix(name, "bus-0") {
				name = "bus-" + name[len("bus-0"):]
			}
			vehicles = []string{name}
		}
		rules := regexp.MustCompile(`[^*]\*([^*]+)\*[^*]`).FindAllStringSubmatch(p[len(title[0])-1:], -1)
		if len(rules) == 0 {
			t.Errorf("%s: the story names no rule or task", title[0])
		}
		for _, r := range rules {
			found := false
			for _, v := range vehicles {
				found = found || tested[v+": "+r[1]]
				delete(untold, v+": "+r[1])
			}
			if !found {
				t.Errorf("%s: nothing tests what is told of %s on %v", title[0], r[1], vehicles)
			}
		}
	}
	for s := range untold {
		t.Errorf("README.md tells no story of %s", s)
	}
}
