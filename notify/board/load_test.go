package board_test

import (
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
)

// TestFirstPaint: on a first visit a browser asks for the page and its style sheet, and has
// then all that it draws with; the script and the icon may come later. What comes is light.
func TestFirstPaint(t *testing.T) {
	type answer struct {
		path  string
		bytes int
	}
	var mu sync.Mutex
	var got []answer
	h := board.Handler(boardtest.Sample(t).Frame)
	url := served(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		counted := &counting{ResponseWriter: w}
		h.ServeHTTP(counted, r)
		mu.Lock()
		defer mu.Unlock()
		got = append(got, answer{r.URL.Path, counted.n})
	}))
	tab := browser.Open(t, 1280)
	tab.Cold()
	for _, path := range []string{"/due", "/v/bus-07", "/v/bus-07/work"} {
		tab.Go(url + path)
		blocking := tab.Blocking()
		var names []string
		for _, asked := range blocking {
			names = append(names, strings.TrimPrefix(asked, url))
		}
		if len(names) != 2 || names[0] != path || !strings.HasPrefix(names[1], "/s/board.") || !strings.HasSuffix(names[1], ".css") {
			t.Errorf("before it draws %s a browser asks for %q, want the page and its style sheet", path, names)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	for _, a := range got {
		if a.bytes > most {
			t.Errorf("%s has %d bytes", a.path, a.bytes)
		}
	}
	if !slices.ContainsFunc(got, func(a answer) bool { return strings.HasSuffix(a.path, ".css") && a.bytes > 0 }) {
		t.Error("no style sheet came")
	}
}

// counting counts what is written.
type counting struct {
	http.ResponseWriter
	n int
}

func (c *counting) Write(b []byte) (int, error) { c.n += len(b); return c.ResponseWriter.Write(b) }

func (c *counting) Unwrap() http.ResponseWriter { return c.ResponseWriter }
