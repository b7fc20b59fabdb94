package board_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) {
	quick.Start()
	code := m.Run()
	browser.Close()
	boardtest.Stop()
	os.Exit(code)
}

// served is the address of a server of these pages, until the test ends: it waits for no
// page that listens for changes.
func served(t *testing.T, h http.Handler) string {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(func() {
		srv.CloseClientConnections()
		srv.Close()
	})
	return srv.URL
}

// examples are one page of each kind that there is.
func examples(t *testing.T) (out []string) {
	h := board.Handler(boardtest.Sample(t).Frame)
	seen := map[string]bool{}
	for _, c := range crawl(t, h, 4, "/") {
		if strings.HasPrefix(c.kind, "text/html") && !seen[c.like()] {
			seen[c.like()] = true
			out = append(out, c.path)
		}
	}
	return out
}

// widths are those of all screens in CI; for a newcomer that of a phone.
func widths() []int {
	if quick.CI() {
		return []int{320, 360, 768, 1280}
	}
	return []int{320}
}

// TestEveryScreen: on no screen, light or dark, axe-core finds anything, a page is wider than
// it, or a page asks for what its policy forbids. By night only the colours are others. Where
// TELLTALE_PICTURES names a folder, it gets the pictures.
func TestEveryScreen(t *testing.T) {
	url := served(t, board.Handler(boardtest.Sample(t).Frame))
	pages := examples(t)
	for _, width := range widths() {
		tab := browser.Open(t, width)
		for i, path := range pages {
			if !quick.CI() && i%3 != 0 {
				continue // some of them
			}
			if status := tab.Go(url + path); status != 200 {
				t.Errorf("%s: %d", path, status)
			}
			if w := tab.Wide(); w > width {
				t.Errorf("%s is %d wide on a screen of %d", path, w, width)
			}
			for _, said := range tab.Complaints() {
				t.Errorf("%s, %d wide: %s", path, width, said)
			}
			for _, found := range tab.Findings() {
				t.Errorf("%s, %d wide: %s", path, width, found)
			}
			keepPicture(t, tab, path, "light")
			tab.Dark(true)
			for _, found := range tab.Findings("color-contrast") {
				t.Errorf("%s, %d wide, dark: %s", path, width, found)
			}
			keepPicture(t, tab, path, "dark")
			tab.Dark(false)
		}
	}
}

// keepPicture keeps a picture of the page where somebody wants to look at it.
func keepPicture(t *testing.T, tab *browser.Tab, path, scheme string) {
	t.Helper()
	dir := os.Getenv("TELLTALE_PICTURES")
	if dir == "" {
		return
	}
	name := strings.NewReplacer("/", "_", "?", "_", "&", "_").Replace(strings.Trim(path, "/"))
	if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%s-%s-%d.png", name, scheme, tab.Width)), tab.Picture(), 0o644); err != nil {
		t.Error(err)
	}
}

// TestByKeyboard: the Tab key comes to all that can be pressed or filled in, the way past
// the first row first, and shows where it is.
func TestByKeyboard(t *testing.T) {
	url := served(t, board.Handler(boardtest.Sample(t).Frame))
	tab := browser.Open(t, 1280)
	for i, path := range examples(t) {
		if !quick.CI() && i%3 != 0 {
			continue
		}
		tab.Go(url + path)
		stops, lost := tab.Stops()
		if len(lost) > 0 {
			t.Errorf("%s: nothing shows the focus at %q", path, lost)
		}
		if len(stops) == 0 || stops[0] != "Skip to the content" {
			t.Errorf("%s: the Tab key comes to %q first", path, stops[:min(1, len(stops))])
		}
		for _, section := range []string{"Today", "Due", "Standing", "Vehicles", "Enter", "More"} {
			if !slices.Contains(stops, section) {
				t.Errorf("%s: the Tab key does not come to %s", path, section)
			}
		}
	}
}
