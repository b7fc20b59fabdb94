package samples_test

import (
	"io/fs"
	"regexp"
	"slices"
	"testing"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine/cases"
	"telltale/engine/intake"
	"telltale/rules/chapters"
	"telltale/samples"
)

// The fleet's copies are the chapters, but for the figures that a chapter leaves to its
// user, and for what README.md says that the fleet changed.
func TestCopiesOfChapters(t *testing.T) {
	for _, c := range chapters.All() {
		text, err := fs.ReadFile(samples.FS, "rules/"+c.File())
		if err != nil {
			t.Errorf("the fleet uses every chapter: %v", err)
			continue
		}
		want, got := changedByREADME(t, c.Name), changed(t, c.Text, text)
		if !slices.Equal(got, want) {
			t.Errorf("%s: changed or left out are %q, README.md says %q", c.Name, got, want)
		}
	}
}

// changedByREADME is what the table of README.md says of a chapter.
func changedByREADME(t *testing.T, chapter string) []string {
	t.Helper()
	text, err := fs.ReadFile(samples.FS, "README.md")
	if err != nil {
		t.Fatal(err)
	}
	row := regexp.MustCompile("(?m)^\\| `" + chapter + "` \\|(.*)\\|(.*)\\|$").FindStringSubmatch(string(text))
	if row == nil {
		t.Fatalf("README.md has no row for the chapter %s", chapter)
	}
	var out []string
	for _, m := range regexp.MustCompile(`\*([^*]+)\*`).FindAllStringSubmatch(row[1]+row[2], -1) {
		out = append(out, m[1])
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// changed names the tasks, rules and baselines of a chapter that differ in a copy, or
// are not in it, or in it alone.
func changed(t *testing.T, chapter, own []byte) []string {
	t.Helper()
	was, is := entries(t, chapter), entries(t, own)
	var out []string
	for name, n := range was {
		if is[name] == nil || !same(n, is[name], holdsBlank(n)) {
			out = append(out, name)
		}
	}
	for name := range is {
		if was[name] == nil {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

func entries(t *testing.T, text []byte) map[string]*yaml.Node {
	t.Helper()
	var file struct{ Baselines, Tasks, Rules map[string]yaml.Node }
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	out := map[string]*yaml.Node{}
	for _, part := range []map[string]yaml.Node{file.Baselines, file.Tasks, file.Rules} {
		for name, n := range part {
			out[name] = &n
		}
	}
	return out
}

func holdsBlank(n *yaml.Node) bool {
	return n.Value == "fill in" || slices.ContainsFunc(n.Content, holdsBlank)
}

// same reports whether two entries are alike; where the chapter says `fill in`, a
// figure may stand, and in an entry with such places another source.
func same(a, b *yaml.Node, blank bool) bool {
	if a.Value == "fill in" {
		return b.Kind == yaml.ScalarNode && b.Value != ""
	}
	if a.Kind != b.Kind || a.Value != b.Value || len(a.Content) != len(b.Content) {
		return false
	}
	for i := range a.Content {
		if source := a.Kind == yaml.MappingNode && i%2 == 1 && a.Content[i-1].Value == "source"; source && blank {
			continue
		}
		if !same(a.Content[i], b.Content[i], blank) {
			return false
		}
	}
	return true
}

// Every stage of the fleet's rules and tasks is raised and cleared by a case, and
// nothing is left to be filled in.
func TestCases(t *testing.T) {
	book, err := loadBook()
	if err != nil {
		t.Fatal(err)
	}
	for i := range book.ToFill {
		t.Error(book.ToFill[i].String())
	}
	text, err := fs.ReadFile(samples.FS, "vehicles.yaml")
	if err != nil {
		t.Fatal(err)
	}
	register, err := intake.Register("vehicles.yaml", text, time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	results, gaps := cases.Run(book, register)
	for i := range results {
		if !results[i].OK() {
			t.Error(results[i].String())
		}
	}
	for _, g := range gaps {
		t.Error(g.String())
	}
	if len(results) < 50 {
		t.Errorf("%d cases, want those of all chapters", len(results))
	}
}
