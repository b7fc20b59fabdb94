package chart

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/rules/english"
)

var styled = regexp.MustCompile(`\sstyle=`)

// TestPage: a page's picture shows what the file does, without a style in it, and slim on a
// phone; letters of 8 of its points are 11 pixels high at 310.
func TestPage(t *testing.T) {
	v, m := verdict(), individuals()
	v.Results[0].Title = "aluminium"
	for name, c := range map[string]struct {
		draw func(slim bool) ([]byte, error)
		says string
	}{
		"sample": {func(slim bool) ([]byte, error) { return Page(v, english.American, slim) }, "aluminum"},
		"made":   {func(slim bool) ([]byte, error) { return MadePage(v, m, english.British, slim) }, "highest usual"},
	} {
		wide, err := c.draw(false)
		if err != nil {
			t.Fatal(err)
		}
		slim, err := c.draw(true)
		if err != nil {
			t.Fatal(err)
		}
		for _, svg := range [][]byte{wide, slim} {
			if styled.Match(svg) || !bytes.Contains(svg, []byte(`font-family="Liberation Sans, Arial`)) || !slices.Contains(texts(t, svg), c.says) {
				t.Errorf("%s: %s", name, svg)
			}
		}
		if n := bytes.Count(slim, []byte("<text")); n != bytes.Count(slim, []byte("textLength=")) {
			t.Errorf("%s: not all of %d texts are as wide as ours: %s", name, n, slim)
		}
		box := regexp.MustCompile(`viewBox="0 0 ([0-9.]+)`)
		if w, n := string(box.FindSubmatch(wide)[1]), string(box.FindSubmatch(slim)[1]); w != "425.2" || n != "212.6" {
			t.Errorf("%s is %s wide, slim %s", name, w, n)
		}
		if a, b := strings.Join(texts(t, wide), " "), strings.Join(texts(t, slim), " "); len(b) < len(a)*3/4 {
			t.Errorf("%s: wide says %q, slim %q", name, a, b)
		}
	}
	v.Results = v.Results[4:]
	if b, err := Page(v, english.British, true); b != nil || err != nil {
		t.Errorf("nothing to draw: %q, %v", b, err)
	}
}
