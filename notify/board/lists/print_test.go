package lists_test

import (
	"net/http/httptest"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
)

// On paper a list is A4, with its boxes, room to write and codes, and without what can be
// pressed: so many lines on a sheet.
func TestPrint(t *testing.T) {
	sample := httptest.NewServer(board.Handler(boardtest.Sample(t).Frame))
	t.Cleanup(sample.Close) // after the tab, which listens to it
	large := httptest.NewServer(board.Handler(boardtest.New(t, many(60)).Frame))
	t.Cleanup(large.Close)
	tab := browser.Open(t, 1280)
	for _, c := range []struct {
		url          string
		fewest, most int // sheets
	}{
		{sample.URL + "/due", 1, 1},
		{sample.URL + "/due/print", 1, 2},
		{sample.URL + "/vehicles/print", 2, 2}, // 19 vehicles, 13 or 14 on a sheet
		{sample.URL + "/labels", 1, 1},         // 21 labels on a sheet
		{large.URL + "/due/print", 7, 10},      // 120 lines
		{large.URL + "/labels", 3, 3},          // 60 labels
		{large.URL + "/vehicles/print", 4, 5},
	} {
		if status := tab.Go(c.url); status != 200 {
			t.Fatalf("%s: %d", c.url, status)
		}
		pdf, sheets := tab.Print()
		if sheets < c.fewest || sheets > c.most {
			t.Errorf("%s is printed on %d sheets, want %d to %d", c.url, sheets, c.fewest, c.most)
		}
		if !strings.Contains(string(pdf), "/MediaBox [0 0 594.9") || !strings.Contains(string(pdf), " 841.9") { // 210 by 297 mm
			t.Errorf("%s is not printed on A4", c.url)
		}
	}
}
