package lists_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"

	ics "github.com/arran4/golang-ical"
	"rsc.io/qr"

	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/rules"
	"telltale/testdata/hostile"
	"telltale/testdata/hostile/named"
)

// tableOf reads a table strictly, as RFC 4180 has it.
func tableOf(t *testing.T, h http.Handler, path string) [][]string {
	t.Helper()
	w := as(t, h, "ines", path)
	body := w.Body.String()
	if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "text/csv; charset=utf-8; header=present" || !strings.HasPrefix(w.Header().Get("Content-Disposition"), "attachment") {
		t.Fatalf("%s: %d, %v", path, w.Code, w.Header())
	}
	if strings.Count(body, "\n") != strings.Count(body, "\r\n") || !strings.HasSuffix(body, "\r\n") {
		t.Errorf("%s has lines that do not end in CRLF", path)
	}
	rows, err := csv.NewReader(strings.NewReader(body)).ReadAll() // every row as long as the first
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return rows
}

func TestTables(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	due := tableOf(t, h, "/due.csv?q=bus-10")
	want := [][]string{
		{"vehicle", "name", "plate", "component", "task", "title", "stage", "required by law", "why", "due date", "due at", "past by", "unit", "likely", "early", "late", "last done", "postponed", "put aside", "have ready", "tags"},
		{"bus-10", "Bus 10", "", "", "cabin filter", "Replace the cabin filter", "soon", "no", "3,189 km to go until 64,842 km.", "2032-11-09", "64842", "-3189", "km", "2031-07-05", "2031-06-26", "2031-07-15", "2030-11-09", "", "no", "1 × cabin filter", "depot south, road hills, use fleet"},
	}
	if want[1][20] = due[1][20]; !reflect.DeepEqual(due, want) {
		t.Errorf("due:\n%q\nwant\n%q", due, want)
	}
	if rows := tableOf(t, h, "/standing.csv?q=bus-03+bronze"); len(rows) != 2 || !slices.Equal(rows[1][:7], []string{"bus-03", "Bus 3", "transmission", "bronze in the fluid", "bronze in the fluid", "caution", "unacknowledged"}) || rows[1][7] != "2031-03-05T13:14:00Z" {
		t.Errorf("standing: %q", rows)
	}
	if rows := tableOf(t, h, "/vehicles.csv"); len(rows) != 20 || rows[1][0] != "bus-01" || rows[1][4] != "2026-09-14" || rows[1][10] != "2031-05-28" {
		t.Errorf("vehicles: %q", rows[:2])
	}
}

// A table is whole, however many pages the list has.
func TestTableIsWhole(t *testing.T) {
	f := boardtest.New(t, many(600))
	h := board.Handler(f.Frame)
	work, err := service.Due.Of(t.Context(), f.Service, service.Question{})
	if err != nil || len(work) < 600 {
		t.Fatalf("%d lines (%v)", len(work), err)
	}
	rows := tableOf(t, h, "/due.csv")
	if len(rows) != 1+len(work) {
		t.Fatalf("%d rows, want %d", len(rows)-1, len(work))
	}
	for i := range work {
		if got := rows[i+1]; got[0] != work[i].Vehicle || got[4] != work[i].Task || got[6] != string(work[i].Stage) || got[9] != work[i].DueDate {
			t.Fatalf("row %d is %q, want that of %s, %s", i, got, work[i].Vehicle, work[i].Task)
		}
	}
	if rows := tableOf(t, h, "/vehicles.csv?tag=depot%3Dnorth"); len(rows) != 301 {
		t.Errorf("%d vehicles, want 300", len(rows)-1)
	}
}

// No cell of a table is a formula, whatever a vehicle is called.
func TestTablesAreHarmless(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "rules/all.yaml", Text: []byte(named.Book)}},
		People: "people:\n  ines: {name: Ines, mail: ines@larkfell.example}\noperator: [ines]\n", Events: named.Events(t), Sift: true})
	h := board.Handler(f.Frame)
	cells := 0
	for _, path := range []string{"/due.csv", "/standing.csv", "/vehicles.csv"} {
		for _, row := range tableOf(t, h, path)[1:] {
			for _, cell := range row {
				cells++
				number := len(cell) > 1 && strings.Trim(cell[1:], "0123456789.") == ""
				if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) && !number {
					t.Errorf("%s: a cell begins as a formula does: %.40q", path, cell)
				}
			}
		}
	}
	if cells < 10*len(hostile.Text) {
		t.Errorf("%d cells", cells)
	}
}

// The calendar has the days that mails have, under the same identities.
func TestCalendar(t *testing.T) {
	f := boardtest.Sample(t)
	w := as(t, board.Handler(f.Frame), "maud", "/due.ics?q=library")
	if w.Code != http.StatusOK || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/calendar") {
		t.Fatalf("%d, %v", w.Code, w.Header())
	}
	cal, err := ics.ParseCalendar(bytes.NewReader(w.Body.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	work, err := service.Due.Of(t.Context(), f.Service, service.Question{Vehicle: "library-01"})
	if err != nil || len(work) != 1 {
		t.Fatalf("%d lines (%v)", len(work), err)
	}
	want, ok := notify.DateOf(f.People().Person("maud"), &work[0], "2031-06-06", boardtest.Morning)
	events := cal.Events()
	if !ok || len(events) != 1 || events[0].Id() != want.Key+"@larkfell.example" || events[0].GetProperty(ics.ComponentPropertySummary).Value != "Mobile library, cooling: Replace the coolant" ||
		events[0].GetProperty(ics.ComponentPropertyDtStart).Value != "20310616" {
		t.Errorf("the calendar is\n%s\nwant %+v", w.Body, want)
	}
}

// A code's picture has each module of the code in its place, and the four white ones around
// it that ISO/IEC 18004 asks for.
func TestCode(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	for _, path := range []string{"/v/bus-07", "/v/b%20%C3%BC%2F7", "/v/" + strings.Repeat("x", 900)} {
		w := as(t, h, "ines", path+"/code.svg")
		if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "image/svg+xml" {
			t.Fatalf("%s: %d, %v", path, w.Code, w.Header())
		}
		code, err := qr.Encode("http://127.0.0.1:4280"+path, qr.M)
		if err != nil {
			t.Fatal(err)
		}
		got := modules(t, w.Body.Bytes())
		if want := code.Size + 8; len(got) != want {
			t.Fatalf("%s is %d modules wide, want %d", path, len(got), want)
		}
		for y := range got {
			for x := range got {
				if want := code.Black(x-4, y-4); got[y][x] != want {
					t.Fatalf("%s: module %d, %d is black: %v, want %v", path, x, y, got[y][x], want)
				}
			}
		}
	}
	if w := as(t, h, "ines", "/v/"+strings.Repeat("x", 3000)+"/code.svg"); w.Code != http.StatusNotFound {
		t.Errorf("a name for which there is no room: %d", w.Code)
	}
}

// modules are what an SVG of rectangles draws black.
func modules(t *testing.T, svg []byte) (out [][]bool) {
	t.Helper()
	var doc struct {
		Box   string `xml:"viewBox,attr"`
		Paths []struct {
			D    string `xml:"d,attr"`
			Fill string `xml:"fill,attr"`
		} `xml:"path"`
	}
	if err := xml.Unmarshal(svg, &doc); err != nil || len(doc.Paths) != 2 || doc.Paths[0].Fill != "#fff" || doc.Paths[1].Fill != "" {
		t.Fatalf("%v: %.200s", err, svg)
	}
	var n int
	if _, err := fmt.Sscanf(doc.Box, "0 0 %d", &n); err != nil {
		t.Fatal(err)
	}
	out = make([][]bool, n)
	for y := range out {
		out[y] = make([]bool, n)
	}
	for _, rect := range strings.SplitAfter(doc.Paths[1].D, "z") {
		var x, y, w, back int
		if rect == "" {
			continue
		}
		if _, err := fmt.Sscanf(rect, "M%d %dh%dv1h-%dz", &x, &y, &w, &back); err != nil || w != back {
			t.Fatalf("%q: %v", rect, err)
		}
		for i := range w {
			out[y][x+i] = true
		}
	}
	return out
}
