package trail

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/stream/audit"
	"telltale/notify/board/boardtest"
	"telltale/rules"
)

func TestMain(m *testing.M) { boardtest.Main(m) }

const people = `people:
  ines: {name: Ines Thornbeck, mail: ines@example.org, zone: Pacific/Auckland}
  maud: {name: Maud Ashgrove, mail: maud@example.org}
rights:
  the office: {who: [ines], may: operator}
  the workshop: {who: [maud], may: workshop}
`

func fleet(t *testing.T) *boardtest.Fleet {
	return boardtest.New(t, boardtest.Files{People: people, Rules: []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}},
		Vehicles: "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n",
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/t","id":"1","subject":"bus-07","time":"2031-06-01T08:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n"})
}

// TestList: the page says who did what in plain words, the latest first, by day of who
// looks, and leads to all of a person and of a vehicle.
func TestList(t *testing.T) {
	t.Parallel()
	f := fleet(t)
	h := f.WithDoor(boardtest.Doorman{}).Handler(Pages(f.Frame)...)
	boardtest.Lacks(t, boardtest.GetAs(t, h, "ines", pagePath), http.StatusOK, "Nothing was done yet.")
	night := time.Date(2031, 6, 5, 20, 10, 0, 0, time.UTC) // the morning of the 6th in Auckland
	for _, e := range []audit.Entry{
		{Time: night.Add(-24 * time.Hour), Who: "/people/maud", How: audit.Link, From: "192.0.2.0/24", What: audit.SignIn, Outcome: audit.Done},
		{Time: night, Who: "/people/maud", How: audit.Link, What: audit.Work, Vehicle: "bus-07", Outcome: audit.Done, Events: []event.ID{{Source: "/people/maud", ID: "a-1"}}},
		{Time: night.Add(time.Minute), Who: "/devices/north-bay-2", How: audit.Pairing, What: audit.Changed, Outcome: audit.Failed, Words: "=cmd|' /C calc'!A0"},
		{Time: night.Add(2 * time.Minute), What: audit.SignIn, Outcome: audit.Refused, Why: "<b>the link is used up</b>"},
	} {
		f.Audit.Write(t.Context(), e)
	}
	w := boardtest.GetAs(t, h, "ines", pagePath)
	boardtest.Lacks(t, w, http.StatusOK, "6 Jun 2031", "08:12 Somebody wanted to sign in and was refused. Refused <b>the link is used up</b>",
		"08:11 The tablet north-bay-2 wanted to change something, and it did not work. Failed =cmd|' /C calc'!A0 On a paired tablet.",
		"08:10 Maud Ashgrove entered work on Bus 7. By a link in a mail. All that Maud Ashgrove did · All that was done to Bus 7 · Bus 7",
		"5 Jun 2031 08:10 Maud Ashgrove signed in. By a link in a mail, from 192.0.2.0/24.")
	for path, want := range map[string]string{
		"?who=maud": "entered work on Bus 7", "?who=Maud+Ashgrove&what=work": "entered work on Bus 7", "?who=%2Fdevices%2Fnorth-bay-2": "the tablet north-bay-2", "?vehicle=Bus+7": "entered work",
		"?what=sign-in": "was refused", "?who=ines": "Nobody did what you ask for.", "?day=6.6.2031": "write it as 2031-06-06", "?vehicle=%3E": "Nobody did what you ask for",
	} {
		if got := boardtest.Says(boardtest.GetAs(t, h, "ines", pagePath+path)); !strings.Contains(strings.ToLower(got), strings.ToLower(want)) {
			t.Errorf("%s lacks %q: %s", path, want, got)
		}
	}
	where, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	today := time.Now().In(where)
	for back, want := range map[int]string{0: "4 on this page.", 3: "Nobody did what you ask for"} {
		day := today.AddDate(0, 0, -back).Format(time.DateOnly) // by when they were stored, which may be a day before by now
		if got := boardtest.Says(boardtest.GetAs(t, h, "ines", pagePath+"?day="+day)); !strings.Contains(got, want) && today.Hour() > 0 {
			t.Errorf("of %s: %s", day, got)
		}
	}
	for path, status := range map[string]int{pagePath + "?before=x": 404, pagePath + "?before=-1": 404, pagePath + "?before=0": 404, pagePath + "?before=99999999999999999999": 404, pagePath + "?before=1": 200} {
		if w := boardtest.GetAs(t, h, "ines", path); w.Code != status {
			t.Errorf("%s: %d, want %d", path, w.Code, status)
		}
	}
	for _, path := range []string{pagePath, filePath} {
		if w := boardtest.GetAs(t, h, "maud", path); w.Code != http.StatusForbidden {
			t.Errorf("%s of a workshop: %d", path, w.Code)
		}
	}
}

var nextPage = regexp.MustCompile(`href="([^"]+)" rel="next"`)

// TestPages goes back page by page; what is done meanwhile moves no page.
func TestPages(t *testing.T) {
	t.Parallel()
	f := fleet(t)
	h := f.WithDoor(boardtest.Doorman{}).Handler(Pages(f.Frame)...)
	for i := range 120 {
		f.Audit.Write(t.Context(), audit.Entry{Who: "/people/maud", What: audit.Work, Outcome: audit.Done, Words: fmt.Sprintf("number %03d.", i)})
		f.Audit.Write(t.Context(), audit.Entry{Who: "/people/ines", What: audit.Reading, Outcome: audit.Done})
	}
	last, pages := 119, 0
	for path := pagePath + "?who=maud"; path != ""; pages++ {
		w := boardtest.GetAs(t, h, "ines", path)
		for _, at := range regexp.MustCompile(`number (\d+)\.`).FindAllStringSubmatch(w.Body.String(), -1) {
			if want := fmt.Sprintf("%03d", last); at[1] != want {
				t.Fatalf("%s: %s, want %s", path, at[1], want)
			}
			last--
		}
		path = ""
		if m := nextPage.FindStringSubmatch(w.Body.String()); m != nil {
			path = strings.ReplaceAll(m[1], "&amp;", "&")
		}
		f.Audit.Write(t.Context(), audit.Entry{Who: "/people/maud", What: audit.Work, Outcome: audit.Done, Words: "meanwhile"})
	}
	if last != -1 || pages != 3 {
		t.Errorf("%d pages end at number %d", pages, last+1)
	}
}

// TestFile saves the list as a table, with no cell that a spreadsheet runs; and that is
// written down too.
func TestFile(t *testing.T) {
	t.Parallel()
	f := fleet(t)
	h := f.WithDoor(boardtest.Doorman{}).Handler(Pages(f.Frame)...)
	f.Audit.Write(t.Context(), audit.Entry{Time: boardtest.Morning, Who: "/people/maud", How: audit.Link, From: "192.0.2.9", What: audit.Work, Vehicle: "bus-07", Outcome: audit.Done,
		Events: []event.ID{{Source: "/people/maud", ID: "a-1"}}, Words: "=1+1"})
	f.Audit.Write(t.Context(), audit.Entry{Who: "/people/ines", What: audit.Work, Outcome: audit.Done})
	w := boardtest.GetAs(t, h, "ines", filePath+"?"+url.Values{"who": {"maud"}, "before": {"1"}}.Encode())
	rows, err := csv.NewReader(w.Body).ReadAll()
	if err != nil || len(rows) != 2 {
		t.Fatalf("%q (%v)", rows, err)
	}
	want := []string{"2031-06-06T17:31:00+12:00", "/people/maud", "Maud Ashgrove", "link", "192.0.2.0/24", "work", "done", "bus-07", "Bus 7", "", "", "'=1+1", "/people/maud a-1"}
	if got := strings.Join(rows[1], "|"); got != strings.Join(want, "|") {
		t.Errorf("got %s\nwant %s", got, strings.Join(want, "|"))
	}
	if trail := boardtest.Trail(t, f); trail[len(trail)-1] != "/people/ines saved a file: audit.csv" {
		t.Errorf("the trail ends with %q", trail[len(trail)-1])
	}
}
