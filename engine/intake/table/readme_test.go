package table

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

// The README names every key, and its examples are mappings that can be read.
func TestReadme(t *testing.T) {
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, k := range kinds {
		keys = append(keys, keysOf(k)...)
	}
	for _, key := range keys {
		if !strings.Contains(string(text), "`"+key+"`") {
			t.Errorf("the README does not name `%s`", key)
		}
	}
	examples := regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllSubmatch(text, -1)
	if len(examples) != 6 {
		t.Errorf("%d examples", len(examples))
	}
	for _, m := range examples {
		if _, err := ReadMapping("README.md", m[1]); err != nil {
			t.Error(err)
		}
	}
}
