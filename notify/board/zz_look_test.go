package board_test

import (
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
)

func TestZZLook(t *testing.T) {
	srv := httptest.NewServer(board.Handler(boardtest.Sample(t).Frame))
	defer srv.Close()
	for _, w := range []int{360, 1280} {
		tab := browser.Open(t, w)
		for _, p := range strings.Fields(os.Getenv("LOOK")) {
			st := tab.Go(srv.URL + p)
			t.Log(p, st, tab.Wide(), tab.Findings())
			name := strings.NewReplacer("/", "_", "?", "_", "%20", "-").Replace(strings.Trim(p, "/"))
			os.WriteFile("/tmp/pics2/"+name+map[bool]string{true: "-phone", false: "-desk"}[w == 360]+".png", tab.Picture(), 0o644)
		}
	}
}
