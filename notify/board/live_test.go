package board_test

import (
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest/browser"
)

// TestFreshByItself: a page is another when work is entered elsewhere, and keeps the focus;
// a form that was typed into stays as it is.
func TestFreshByItself(t *testing.T) {
	f := fleet(t, reading("r-1", "bus-02", "2031-06-05T18:00:00Z", 113200), `"bus-02"`, `"2031-06-0`)
	url := served(t, board.Handler(f.Frame))
	const oil = "Bus 2 · Change the engine oil and filter (engine)"
	list, form, desk := browser.Open(t, 768), browser.Open(t, 768), browser.Open(t, 768)
	list.Go(url + "/due")
	list.Has(oil)
	list.Focus("Van 3")
	form.Go(url + "/v/bus-02/work")
	form.Type("Odometer", "113300")
	desk.Go(url + "/due")
	desk.PressOf(oil, "Enter work")
	desk.Type("Odometer", "113310")
	desk.Press("Enter it")
	desk.Has("What followed")
	list.Until("document.querySelector('main') && !document.querySelector('main').innerText.includes('Change the engine oil and filter')")
	list.Has("Bus 2 · Before release: check the oil level and look for leaks with the engine warm (engine)")
	if has := list.Focused(); has != "Van 3" {
		t.Errorf("the focus is at %q after the page was fetched again, want Van 3", has)
	}
	if got := form.Value("Odometer"); got != "113300" {
		t.Errorf("what was typed became %q", got)
	}
	for _, tab := range []*browser.Tab{list, form, desk} {
		for _, c := range tab.Complaints() {
			t.Error(c)
		}
	}
}
