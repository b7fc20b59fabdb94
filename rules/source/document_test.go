package source

import (
	"slices"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"
)

// A file that stands alone has cures of its own.
func TestFilesRefused(t *testing.T) {
	for text, want := range map[string]string{
		"# nothing\n":                          "a.yaml:1:1: the file is empty\n    # nothing\n    ^\nhint: write something in it, or delete it",
		"a: b\n--- c\n":                        "a.yaml:2:1: a second document begins here\n    --- c\n    ^\nhint: keep one of them",
		"a: " + strings.Repeat("b", fileLimit): "a.yaml:1:1: the file is 257 KiB long; the limit is 256 KiB",
	} {
		s, _ := Read("a.yaml", []byte(text))
		if err := s.Err(); err == nil || err.Error() != want {
			t.Errorf("%.40q: got\n%v\nwant\n%s", text, err, want)
		}
	}
}

func TestItems(t *testing.T) {
	s, root := Read("a.yaml", []byte("none: []\none: x\nmore: [x, 2, y]\nnot: {x: y}\n"))
	m := s.Mapping(root, "the file", "none", "one", "more", "not")
	read := func(n *yaml.Node) (out []string) {
		for _, item := range s.Items(n, "it") {
			if text, ok := s.Given(item, "it"); ok {
				out = append(out, text)
			}
		}
		return out
	}
	for key, want := range map[string][]string{"missing": nil, "none": nil, "one": {"x"}, "more": {"x", "y"}, "not": nil} {
		if got := read(m[key]); !slices.Equal(got, want) {
			t.Errorf("%s: got %q, want %q", key, got, want)
		}
	}
	want := `a.yaml:3:11: it must be text, not a number
    more: [x, 2, y]
              ^
hint: put it in quotes
a.yaml:4:6: it must be a list, not a mapping
    not: {x: y}
         ^`
	if err := s.Err(); err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	if text, ok := s.Given(nil, "it"); ok || text != "" {
		t.Errorf("of nothing: %q, %v", text, ok)
	}
}
