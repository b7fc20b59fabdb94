package schema

import (
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
)

// keysOf are the keys of a mapping in a schema, of all its forms.
func keysOf(n node) []string {
	keys := map[string]bool{}
	if p, ok := n["properties"].(map[string]node); ok {
		for k := range p {
			keys[k] = true
		}
	}
	for _, some := range []string{"oneOf", "anyOf"} {
		forms, _ := n[some].([]node)
		for _, f := range forms {
			for _, k := range keysOf(f) {
				keys[k] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(keys))
}

// Every key of the language has a row in the part of rules/README.md that speaks of it.
func TestREADMEHasEveryKey(t *testing.T) {
	raw, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	case1 := caseOf()["properties"].(map[string]node)
	expect := case1["expect"]["anyOf"].([]node)[1]["items"].(node)
	for _, c := range []struct {
		part string
		keys []string
	}{
		{"A whole file", keysOf(rulesFile())},
		{"Baselines", keysOf(baseline())},
		{"Tasks", keysOf(task())},
		{"Follow-ups", keysOf(followUps(true)["additionalProperties"].(node))},
		{"Rules", keysOf(rule())},
		{"Cases", slices.Concat(keysOf(caseOf()), keysOf(expect))},
	} {
		if len(c.keys) < 4 {
			t.Fatalf("%s has the keys %q", c.part, c.keys)
		}
		text := section(string(raw), c.part)
		for _, k := range c.keys {
			if !hasRow(text, k) {
				t.Errorf("%q of rules/README.md has no row for the key %q", c.part, k)
			}
		}
	}
}

// section is what stands under a heading, up to the next of its rank or above.
func section(text, heading string) string {
	for _, rank := range []string{"## ", "### "} {
		if _, rest, ok := strings.Cut(text, "\n"+rank+heading+"\n"); ok {
			body, _, _ := strings.Cut(rest, "\n"+rank)
			body, _, _ = strings.Cut(body, "\n## ")
			return body
		}
	}
	return ""
}

// hasRow reports whether a table of the text has a row for a key; a row may be of
// several.
func hasRow(text, key string) bool {
	for line := range strings.Lines(text) {
		if first, _, ok := strings.Cut(strings.TrimPrefix(line, "|"), "|"); ok && strings.HasPrefix(line, "|") && strings.Contains(first, "`"+key+"`") {
			return true
		}
	}
	return false
}
