package enter_test

import (
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"

	"telltale/notify/board/boardtest/browser"
)

// look asks axe-core about a page, and whether it fits. Where TELLTALE_PICTURES names a
// folder, it gets a picture.
func look(t *testing.T, tab *browser.Tab, name string) {
	t.Helper()
	for _, found := range tab.Findings() {
		t.Errorf("%s: %s", name, found)
	}
	if w := tab.Wide(); w > tab.Width {
		t.Errorf("%s is %d wide on a screen of %d", name, w, tab.Width)
	}
	if dir := os.Getenv("TELLTALE_PICTURES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, name+".png"), tab.Picture(), 0o644); err != nil {
			t.Error(err)
		}
	}
}

// A mechanic on a phone: a slip is told beside its field, a number that can hardly be is
// asked back, what follows is seen first, and what was entered is taken back.
func TestOnAPhone(t *testing.T) {
	b := open(t)
	srv := httptest.NewServer(b.h)
	t.Cleanup(srv.Close) // after the tab, whose page may listen for changes
	tab := browser.Open(t, 320)
	walk(tab, srv.URL, func(name string) { look(t, tab, name) })
	for path, name := range map[string]string{"reading": "reading", "measure": "measure", "replaced": "replaced", "answer": "answer-vehicle", "answer?rule=engine+oil": "answer-which",
		"answer?rule=engine+oil&answer=postpone": "postpone", "answer?rule=engine+oil&answer=shelve": "aside"} {
		tab.Go(srv.URL + "/v/van-3/" + path)
		look(t, tab, name)
	}
}

// The same goes without a script.
func TestWithoutScript(t *testing.T) {
	b := open(t)
	srv := httptest.NewServer(b.h)
	t.Cleanup(srv.Close) // after the tab, whose page may listen for changes
	tab := browser.Open(t, 360)
	tab.NoScript(true)
	walk(tab, srv.URL, func(string) {})
}

func walk(tab *browser.Tab, url string, seen func(name string)) {
	tab.Go(url + "/enter")
	seen("enter")
	tab.Press("Work on Van 3")
	seen("work")
	tab.Tick("Change the engine oil (engine): soon")
	tab.Type("Odometer", "12980O")
	tab.Press("Enter it")
	tab.Has("Not entered yet", "“12980O” is not a number.")
	seen("work-refused")
	tab.Type("Odometer", "12980")
	tab.Press("Look at what follows")
	tab.Has("What would follow", "The odometer reads 12,980 km after 129,500 km on 2 Jun 2031")
	seen("work-doubted")
	tab.Type("Odometer", "129800")
	tab.Press("Enter it all the same")
	tab.Has("What followed", "Engine oil (engine): due next at 139,800 km")
	seen("entered")
	tab.Press("Take it back")
	tab.Has("It counts for nothing any more.")
	seen("taken-back")
}

// From the list: a press on the work, one number, a press to enter it.
func TestGlovesAtSix(t *testing.T) {
	b := open(t)
	srv := httptest.NewServer(b.h)
	t.Cleanup(srv.Close) // after the tab, whose page may listen for changes
	tab := browser.Open(t, 768)
	tab.Go(srv.URL + "/v/van-3/work?task=engine+oil")
	tab.Type("Odometer", "129800")
	tab.Press("Enter it")
	tab.Has("Engine oil (engine): due next at 139,800 km")
	look(t, tab, "entered-tablet")
}
