package try_test

import (
	"net/http/httptest"
	"strings"
	"testing"

	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
)

// A change is tried from the rule's page on, with scripts off, and what came of it fits a
// phone and prints.
func TestByHand(t *testing.T) {
	defer browser.Close()
	h := pages(boardtest.Sample(t))
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close) // after the tab, whose page may listen for changes
	tab := browser.Open(t, 320)
	tab.NoScript(true)
	tab.Go(srv.URL + "/rules/try?file=minibus.yaml")
	tab.Press("Look")
	for range 100 {
		if tab.Title() != "Trying the change · Telltale" {
			break
		}
		tab.Go(srv.URL + tab.Path())
	}
	tab.Has("What would change", "no alarm would have been another", "Nothing: the text is the one in force.", "Passed")
	w, to := ended(t, h, boardtest.Post(t, h, "/rules/try", asked("washing.yaml", own)))
	tab.NoScript(false)
	for _, width := range []int{320, 1280} {
		tab.Resize(width)
		tab.Dark(width > 320)
		for _, path := range []string{to, "/rules/try"} {
			tab.Go(srv.URL + path)
			if got := tab.Wide(); got > width {
				t.Errorf("%s is %d wide on a screen of %d", path, got, width)
			}
			for _, found := range tab.Findings() {
				t.Errorf("%s, %d wide: %s", path, width, found)
			}
		}
	}
	tab.Go(srv.URL + to)
	if _, sheets := tab.Print(); sheets < 1 || sheets > 2 {
		t.Errorf("it prints on %d sheets", sheets)
	}
	if strings.Contains(w.Body.String(), "<form") {
		t.Error("the page by which a change is discussed has a form")
	}
}
