package board_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/rules"
	"telltale/testdata/hostile"
	"telltale/testdata/hostile/named"
	"telltale/testdata/quick"
)

// TestHostileNames: whatever vehicles, people and notes are called, each page has our
// elements alone, leads nowhere else, and nothing of it drives a browser.
func TestHostileNames(t *testing.T) {
	f := hostileFleet(t)
	pages := 0
	for _, c := range crawl(t, board.Handler(f.Frame), len(hostile.Text), "/") {
		if c.status != http.StatusOK {
			t.Errorf("%.200s: %d", c.path, c.status)
		}
		if strings.HasPrefix(c.kind, "text/html") {
			pages++
			ours(t, c)
		}
	}
	if pages < 5*len(hostile.Text) {
		t.Errorf("%d pages of %d vehicles", pages, len(hostile.Text))
	}
}

// hostileFleet is one in which vehicles, people and notes are called whatever drives a page.
func hostileFleet(t *testing.T) *boardtest.Fleet {
	t.Helper()
	people := "people:\n  ines: {name: \"<b>Ines</b> {{.}}\", mail: ines@larkfell.example}\n"
	for n := range hostile.Text {
		people += fmt.Sprintf("  p-%02d: {mail: p-%02d@larkfell.example}\n", n, n)
	}
	return boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "rules/all.yaml", Text: []byte(named.Book)}},
		People: people + "operator: [ines]\n", Events: named.Events(t), Sift: true})
}

// TestHostileInABrowser: none of it runs in a browser, opens a dialog, or has a page ask for
// what its policy forbids.
func TestHostileInABrowser(t *testing.T) {
	h := board.Handler(hostileFleet(t).Frame)
	url := served(t, h)
	tab := browser.Open(t, 360)
	each := 1
	if quick.CI() {
		each = 6
	}
	for _, c := range crawl(t, h, each, "/") {
		if !strings.HasPrefix(c.kind, "text/html") {
			continue
		}
		tab.Go(url + c.path)
		for _, said := range tab.Complaints() {
			t.Errorf("%.200s: %s", c.path, said)
		}
		if w := tab.Wide(); w > tab.Width {
			t.Errorf("%.200s is %d wide on a screen of %d", c.path, w, tab.Width)
		}
	}
}

// ours checks that the page has no element and no attribute of others' making.
func ours(t *testing.T, c crawled) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(c.body))
	if err != nil {
		t.Fatal(err)
	}
	scripts := 0
	for n := range root.Descendants() {
		if n.Type == html.CommentNode {
			t.Errorf("%.200s has a comment: %.100q", c.path, n.Data)
		}
		if n.Type != html.ElementNode {
			continue
		}
		switch n.Data {
		case "script":
			scripts++
		case "b", "iframe", "object", "embed", "style", "base", "svg":
			t.Errorf("%.200s has an element <%s>", c.path, n.Data)
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "href" && !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#") && !strings.HasPrefix(a.Val, "?") {
				t.Errorf("%.200s: <%s %s=%.100q>", c.path, n.Data, a.Key, a.Val)
			}
		}
	}
	if scripts != 1 {
		t.Errorf("%.200s has %d scripts", c.path, scripts)
	}
	for _, r := range c.body {
		if r == '\u202e' || r == '\u2066' || r == '\x1b' || r == '\u009b' {
			t.Errorf("%.200s has a mark that turns the writing or drives a terminal: %q", c.path, r)
			break
		}
	}
}

// TestEmpty: a fleet without rules, vehicles or people has all pages, each with words of
// what is missing.
func TestEmpty(t *testing.T) {
	h := board.Handler(boardtest.New(t, boardtest.Files{}).Frame)
	for _, c := range crawl(t, h, 4, "/") {
		if c.status != http.StatusOK {
			t.Errorf("%s: %d", c.path, c.status)
		}
	}
}
