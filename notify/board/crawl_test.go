package board_test

import (
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/testdata/quick"
)

// most is how heavy a page may be, with what it loads at once: its style sheet, which a
// browser keeps, and its script are counted once.
const most = 60 << 10

// crawled is a page that links lead to.
type crawled struct {
	path, kind string
	status     int
	body       string
}

// crawl follows the links from a page, to so many pages of a kind, and gives them in order
// of address.
func crawl(t *testing.T, h http.Handler, each int, from ...string) (out []crawled) {
	t.Helper()
	return crawlAs(t, h, "", each, from...)
}

// crawlAs is crawl of what somebody is led to who is signed in.
func crawlAs(t *testing.T, h http.Handler, who string, each int, from ...string) (out []crawled) {
	t.Helper()
	seen, kinds := map[string]bool{}, map[string]int{}
	for todo := from; len(todo) > 0; {
		path := todo[0]
		todo = todo[1:]
		if seen[path] {
			continue
		}
		seen[path] = true
		if kind := (crawled{path: path}).like(); kinds[kind] == each {
			continue
		} else {
			kinds[kind]++
		}
		w := boardtest.GetAs(t, h, who, path)
		c := crawled{path, w.Header().Get("Content-Type"), w.Code, w.Body.String()}
		out = append(out, c)
		if !strings.HasPrefix(c.kind, "text/html") {
			continue
		}
		here, err := url.Parse(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, to := range links(t, c.body) {
			at, err := here.Parse(to)
			if err != nil || at.IsAbs() {
				t.Errorf("%s leads away, to %s (%v)", path, to, err)
				continue
			}
			at.Fragment = ""
			todo = append(todo, at.String())
		}
	}
	slices.SortFunc(out, func(a, b crawled) int { return strings.Compare(a.path, b.path) })
	return out
}

// links are the addresses that a page leads to or loads.
func links(t *testing.T, body string) (out []string) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for n := range root.Descendants() {
		for _, a := range n.Attr {
			if a.Key == "href" || a.Key == "src" || a.Key == "srcset" || a.Key == "action" && !slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == "method" && a.Val == "post" }) {
				out = append(out, strings.Fields(a.Val + " .")[0])
			}
		}
	}
	return out
}

// eachKind is how many pages of a kind are looked at: in CI as many as there are rules or
// vehicles, for a newcomer some.
func eachKind() int {
	if quick.CI() {
		return 40
	}
	return 4
}

var (
	// named is what an address has of its own: with it taken out, pages of one kind are alike.
	ofVehicle = regexp.MustCompile(`^/v/[^/?]+`)
	query     = regexp.MustCompile(`=[^&]*`)
	// written is what somebody has written, who also decides how long it is: a file of rules.
	written = regexp.MustCompile(`(?s)<textarea.*?</textarea>`)
	inline  = regexp.MustCompile(`(?i)\sstyle=|<style|\son[a-z]+=|<script(?:>|\s[^>]*[^>s]>[^<])|javascript:`)
)

// like is the kind of page that an address leads to.
func (c crawled) like() string {
	p := query.ReplaceAllString(ofVehicle.ReplaceAllString(c.path, "/v/…"), "")
	for _, room := range []string{"/v/…/why/", "/v/…/samples/", "/v/…/entered/", "/rules/", "/deliveries/", "/v/…/history"} {
		if rest, ok := strings.CutPrefix(p, room); ok && !strings.Contains(rest, ".") && rest != "try" {
			return room + strings.Repeat("…/", 1+strings.Count(rest, "/"))
		}
	}
	return p
}

// TestEveryLink: from the first page on, no link leads nowhere, no page has a style or a
// script within, none is too heavy.
func TestEveryLink(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	kinds := map[string]int{}
	for _, c := range crawl(t, h, eachKind(), "/") {
		kinds[c.like()]++
		if c.status != http.StatusOK {
			t.Errorf("%s: %d", c.path, c.status)
		}
		if found := inline.FindString(c.body); found != "" && strings.HasPrefix(c.kind, "text/html") {
			t.Errorf("%s has a style or a script within: %s", c.path, found)
		}
		if len(written.ReplaceAllString(c.body, "")) > most && strings.HasPrefix(c.kind, "text/html") {
			t.Errorf("%s has %d bytes", c.path, len(c.body))
		}
	}
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		t.Log(kinds[kind], kind)
	}
}
