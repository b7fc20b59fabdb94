package language

import (
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/source"
)

// Texts with a bar where the cursor stands.
func TestPlaceAt(t *testing.T) {
	for text, want := range map[string]place{
		"book: |":                            {key: "book"},
		"|":                                  {},
		"rules:\n  a:\n    me|":              {keys: []string{"rules", "a"}, before: "me"},
		"rules:\n  a:\n    measure: value(|": {keys: []string{"rules", "a"}, key: "measure", before: "value("},
		"rules:\n  a:\n    above: {caution: 5, w|":                       {keys: []string{"rules", "a", "above"}, before: "w"},
		"rules:\n  a:\n    pull in: {oil: {within: {time: 3|":            {keys: []string{"rules", "a", "pull in", "oil", "within"}, key: "time", before: "3"},
		"rules:\n  a:\n    raise: |\n      value(|":                      {keys: []string{"rules", "a"}, key: "raise", before: "value("},
		"tasks:\n  \"a: b\":\n    every: |":                              {keys: []string{"tasks", "a: b"}, key: "every"},
		"cases:\n  c:\n    expect:\n      - on: 2031-01-01\n        ru|": {keys: []string{"cases", "c", "expect", ""}, before: "ru"},
		"rules:\n  a:\n    say: at ${val|":                               {keys: []string{"rules", "a"}, key: "say", before: "at ${val"},
		"tasks:\n  broken: [\n  a:\n    ev|":                             {keys: []string{"tasks", "a"}, before: "ev"},
	} {
		i := strings.LastIndex(text, "|")
		before := text[:i]
		at := position{strings.Count(before, "\n"), len(before) - strings.LastIndex(before, "\n") - 1}
		if got := placeAt(before+text[i+1:], at); !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %+v, want %+v", text, got, want)
		}
	}
}

// Editors count units of UTF-16, of which a character outside the first plane has two.
func TestSpanOf(t *testing.T) {
	got := spanOf("a\n🚌 é x: 1\n", source.Place{Line: 2, Col: 5}, 1)
	if want := (span{position{1, 5}, position{1, 6}}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
	if got := before("🚌é", 2); got != "🚌" {
		t.Errorf("got %q", got)
	}
}

// Whatever stands in a file, and wherever the cursor is said to be, there is an answer.
func TestAnyPlace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching("([a-z\"{}\\[\\]:,|$ \t-]|\n  |🚌){0,60}").Draw(t, "text")
		p := position{rapid.IntRange(-1, 8).Draw(t, "line"), rapid.IntRange(-1, 20).Draw(t, "character")}
		in := placeAt(text, p)
		here := forms["rules"].at(append(in.keys, in.key))
		keysOf(here, Checked{}, in)
		valuesOf(here, Checked{}, in)
		Checked{}.expression(in.before)
	})
}

// TestBelowTheText: a position far below the text costs no time.
func TestBelowTheText(t *testing.T) {
	for _, at := range []position{{1 << 31, 1 << 31}, {1 << 62, 0}, {-1 << 31, -1}} {
		if p := placeAt("book: 1\n", at); len(p.keys) > 0 || p.key != "" {
			t.Errorf("%v: %v", at, p)
		}
	}
}
