package files_test

import (
	"net/http/httptest"
	"testing"

	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
)

// On a phone by day and on a desk by night axe-core finds nothing on the pages that a table
// leads to, and none is wider than the screen.
func TestOnScreen(t *testing.T) {
	defer browser.Close()
	_, h := garage(t, map[string]string{"mileage.yaml": mileage, "broken.yaml": "import: readings\n", "customers.yaml": "import: vehicles\nvehicle: Reg\nname: Name\nkind: {always: minibus}\nmeters: {odometer: distance}\n"})
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close) // after the tab, whose page may listen for changes
	leads := func(path, name, value, table string) string {
		return goesTo(t, sending(t, h, path, map[string]string{name: value}, map[string][2]string{"table": {"june.csv", table}}), path+"/")
	}
	fine := leads("/files", "mapping", "mileage.yaml", "Bus,Day,Km\nBus 7,02/06/2031,\"1,950\"\nbus-08,04/06/2031,\nbus-07,05/06/2031,900\n")
	pages := []string{
		"/files", "/files/new", fine,
		leads("/files", "mapping", "mileage.yaml", "Bus,Day,Km\nBus 7,02/06/2031,1.950\n"),
		leads("/files", "mapping", "customers.yaml", "Reg,Name\nbus-07,The seventh\nbus-09,Bus 9\n"),
		leads("/files/new", "of", "samples", "Vehicle,Number,Fe,Copper with a rather long heading above it,Date\nbus-07,12,1,2,3\n"),
		goesTo(t, boardtest.Post(t, h, fine, nil), "/files/sent/"),
	}
	tab := browser.Open(t, 320)
	for _, s := range []struct {
		width int
		dark  bool
	}{{320, false}, {1280, true}} {
		tab.Resize(s.width)
		tab.Dark(s.dark)
		for _, p := range pages {
			tab.Go(srv.URL + p)
			if w := tab.Wide(); w > s.width {
				t.Errorf("%s is %d wide on a screen of %d", p, w, s.width)
			}
			for _, found := range tab.Findings() {
				t.Errorf("%s, %d wide, dark %t: %s", p, s.width, s.dark, found)
			}
		}
	}
}
