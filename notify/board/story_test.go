package board_test

import (
	"fmt"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
)

// fleet is the sample fleet, the test's own, with what else happened; lines that match any
// of without are left out.
func fleet(t *testing.T, more string, without ...string) *boardtest.Fleet {
	t.Helper()
	files, err := boardtest.SampleFiles()
	if err != nil {
		t.Fatal(err)
	}
	var kept strings.Builder
	for line := range strings.Lines(files.Events) {
		if !hasAll(line, without) {
			kept.WriteString(line)
		}
	}
	files.Events = kept.String() + more
	return boardtest.New(t, files)
}

// reading is a line of a log: what an odometer showed.
func reading(id, vehicle, at string, km int) string {
	return fmt.Sprintf(`{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":%q,"subject":%q,"time":%q,"data":{"meter":"odometer","value":%d,"unit":"km"}}`+"\n", id, vehicle, at, km)
}

// hasAll reports whether a line has all of these.
func hasAll(line string, texts []string) bool {
	for _, text := range texts {
		if !strings.Contains(line, text) {
			return false
		}
	}
	return len(texts) > 0
}

// as opens the first page, and goes on as one of the people: all that is typed into the
// address of a story.
func as(t *testing.T, f *boardtest.Fleet, width int, script bool, first, name string) *browser.Tab {
	t.Helper()
	url := served(t, board.Handler(f.Frame))
	tab := browser.Open(t, width)
	tab.NoScript(!script)
	tab.Go(url)
	tab.Press(first)
	tab.Tick(name)
	tab.Press("Look as this person")
	tab.Has("You look at these pages as " + name)
	return tab
}

// TestMorning: a workshop's tablet at six. From the list four presses and one number enter
// work; on the list again its line has gone, and what follows the work stands there.
func TestMorning(t *testing.T) {
	for name, script := range map[string]bool{"with script": true, "without script": false} {
		t.Run(name, func(t *testing.T) {
			f := fleet(t, reading("r-1", "bus-02", "2031-06-05T18:00:00Z", 113200), `"bus-02"`, `"2031-06-0`)
			tab := as(t, f, 768, script, "Ines Thornbeck", "North workshop, Skelder Yard")
			tab.Presses = 0
			tab.Press("Due")
			tab.Has("Due list, Friday 6 Jun 2031", "Change the engine oil and filter (engine)")
			tab.PressOf("Bus 2 · Change the engine oil and filter (engine)", "Enter work")
			tab.Has("Change the engine oil and filter (engine): soon")
			tab.Type("Odometer", "113310")
			tab.Press("Enter it")
			tab.Has("What followed", "Engine oil (engine): due next at 133,310 km")
			tab.PressOf("Enter more", "Due")
			if tab.Presses != 4 {
				t.Errorf("%d presses, want 4", tab.Presses)
			}
			tab.Gone(t, "Change the engine oil and filter (engine)")
			tab.Has("Bus 2 · Before release: check the oil level and look for leaks with the engine warm (engine)")
			tab.Press("Print")
			tab.Has("Bus 2 · Before release", "Bus 3 · Safety inspection", "Have ready")
			if _, sheets := tab.Print(); sheets < 1 || sheets > 2 {
				t.Errorf("the list is printed on %d sheets", sheets)
			}
			for _, c := range tab.Complaints() {
				t.Error(c)
			}
		})
	}
}
