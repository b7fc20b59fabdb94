package schema

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
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
		want := before + "<!-- keys: begin" + begin + "-->\n" + reference(name) + "<!-- keys: end -->" + after
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
	for _, of := range []node{peopleFile(), person(), properties(person())["webhook"], entry(), right(), program(), settingsFile(), smtp(), answers(), boardKeys(), properties(boardKeys())["fleet sign-in"]} {
		for key, n := range properties(of) {
			example, without := n.noted()
			if meaning, _ := n["description"].(string); meaning == "" || example == "" || without == "" {
				t.Errorf("%s: meaning %q, example %q, without it %q", key, meaning, example, without)
			}
		}
	}
}

// noted are the example and what holds without the key.
func (n node) noted() (example, without string) {
	comment, _ := n["$comment"].(string)
	example, without, _ = strings.Cut(strings.TrimPrefix(comment, "as "), leftOut)
	return example, without
}

// reference is a table of all keys of a file, for people: what each means, an example, and
// what holds where it is left out. Mappings within it have tables of their own, below.
// "" for a file whose schema does not say all of that.
func reference(name string) string {
	var b strings.Builder
	switch name {
	case "people":
		file := peopleFile()
		keysTable(&b, "The file", file)
		keysTable(&b, "A person", person())
		keysTable(&b, "`webhook` of a person", properties(person())["webhook"])
		keysTable(&b, "An entry of `tell`", entry())
		keysTable(&b, "An entry of `rights`", right())
		keysTable(&b, "An entry of `programs`", program())
	case "settings":
		file := settingsFile()
		keysTable(&b, "The file", file)
		for _, key := range []string{"mail", "smtp", "answers", "board", "webhooks"} {
			keysTable(&b, "`"+key+"`", properties(file)[key])
		}
		keysTable(&b, "`fleet sign-in` of `board`", properties(boardKeys())["fleet sign-in"])
	}
	return b.String()
}

func properties(n node) map[string]node { return n["properties"].(map[string]node) }

func keysTable(b *strings.Builder, heading string, of node) {
	fmt.Fprintf(b, "### %s\n\n| key | meaning | example | default |\n| --- | --- | --- | --- |\n", heading)
	for _, key := range slices.Sorted(maps.Keys(properties(of))) {
		n := properties(of)[key]
		example, without := n.noted()
		fmt.Fprintf(b, "| `%s` | %s | `%s` | %s |\n", key, n["description"], example, without)
	}
	b.WriteString("\n")
}
