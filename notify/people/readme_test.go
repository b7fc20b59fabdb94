package people

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// TestReadmeSaysWhatWhereMayAsk: the page names every field that a where can read, and its
// example is a file that is taken.
func TestReadmeSaysWhatWhereMayAsk(t *testing.T) {
	raw, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	page := string(raw)
	var walk func(prefix string, of reflect.Type)
	walk = func(prefix string, of reflect.Type) {
		for i := range of.NumField() {
			f := of.Field(i)
			if f.Tag.Get("expr") == "-" {
				continue
			}
			name := prefix + f.Tag.Get("expr")
			if f.Type.Kind() == reflect.Struct {
				walk(name+".", f.Type)
			} else if !strings.Contains(page, "`"+name+"`") && !strings.Contains(page, "`"+name+"[") {
				t.Errorf("the page does not name `%s`", name)
			}
		}
	}
	walk("", reflect.TypeFor[env]())
	example := regexp.MustCompile("(?s)```yaml\n(.*?)```").FindStringSubmatch(page)
	if _, err := Parse("README.md", []byte(example[1])); err != nil {
		t.Error(err)
	}
}
