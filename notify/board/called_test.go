package board_test

import (
	"net/http"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
)

// TestCalled: a vehicle is found by what people call it, however they write it.
func TestCalled(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	for path, want := range map[string]string{"/v/Bus%207": "/v/bus-07", "/v/BUS-07": "/v/bus-07"} {
		if w := boardtest.Get(t, h, path); w.Code != http.StatusSeeOther || w.Header().Get("Location") != want {
			t.Errorf("%s: %d to %q, want %s", path, w.Code, w.Header().Get("Location"), want)
		}
	}
	if w := boardtest.Get(t, h, "/v/Bus%20700"); w.Code != http.StatusNotFound {
		t.Errorf("what nothing is called: %d", w.Code)
	}
}
