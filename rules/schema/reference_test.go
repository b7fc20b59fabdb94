package schema

import (
	"flag"
	"os"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the tables of keys into the pages that have them")

// pages are the references, by the file that they are of.
var pages = map[string]string{"people": "../../notify/people/README.md", "settings": "../../cmd/telltale/README.md"}

// TestReference holds the tables of keys to the schemas.
func TestReference(t *testing.T) {
	for name, page := range pages {
		raw, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		before, rest, ok := strings.Cut(string(raw), "<!-- keys: begin")
		begin, rest, ok2 := strings.Cut(rest, "-->\n")
		_, after, ok3 := strings.Cut(rest, "<!-- keys: end -->")
		if !ok || !ok2 || !ok3 {
			t.Fatalf("%s has no place for its table of keys", page)
		}
		want := before + "<!-- keys: begin" + begin + "-->\n" + Reference(name) + "<!-- keys: end -->" + after
		if *update {
			if err := os.WriteFile(page, []byte(want), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if string(raw) != want {
			t.Errorf("%s is not what the schema says: go test ./rules/schema -run Reference -update", page)
		}
	}
}

// TestReferenceSaysAll: every key of the two files says what it means, by an example, and
// what holds without it.
func TestReferenceSaysAll(t *testing.T) {
	for _, of := range []node{peopleFile(), person(), properties(person())["webhook"], entry(), settingsFile(), smtp(), answers()} {
		for key, n := range properties(of) {
			example, without := n.noted()
			if meaning, _ := n["description"].(string); meaning == "" || example == "" || without == "" {
				t.Errorf("%s: meaning %q, example %q, without it %q", key, meaning, example, without)
			}
		}
	}
}
