package files_test

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/rules"
	"telltale/testdata/hostile"
)

func TestMain(m *testing.M) { boardtest.Main(m) }

const mileage = "import: readings\nsource: /sheet/mileage\nzone: UTC\ndate order: day first\nthousands mark: comma\nvehicle: Bus\ndate: Day\nmeters: {odometer: {column: Km, unit: km}}\n"

// garage is a fleet of two buses with a folder of its own, in which there are mappings.
func garage(t *testing.T, mappings map[string]string) (*boardtest.Fleet, http.Handler) {
	t.Helper()
	f := boardtest.New(t, boardtest.Files{
		Rules:    []rules.File{{Name: "oil.yaml", Text: []byte("book: 1\ntasks:\n  oil change: {every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading}\n")}},
		Vehicles: "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n  bus-08: {kind: minibus, meters: {odometer: distance}}\n",
		People:   "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London}\noperator: [ines]\n",
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"bus-07","time":"2031-06-01T06:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n",
	})
	f.Dir = t.TempDir()
	for name, text := range mappings {
		put(t, filepath.Join(f.Dir, "mappings", name), text)
	}
	return f, board.Handler(f.Frame)
}

func put(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// sending is a form with files: of each a name and what is in it.
func sending(t *testing.T, h http.Handler, path string, fields map[string]string, files map[string][2]string) *httptest.ResponseRecorder {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, v := range fields {
		if err := w.WriteField(name, v); err != nil {
			t.Fatal(err)
		}
	}
	for name, f := range files {
		part, err := w.CreateFormFile(name, f[0])
		if err == nil {
			_, err = part.Write([]byte(f[1]))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:4280"+path, &body)
	r.Header.Set("Content-Type", w.FormDataContentType())
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	out := httptest.NewRecorder()
	h.ServeHTTP(out, r)
	return out
}

func goesTo(t *testing.T, w *httptest.ResponseRecorder, path string) string {
	t.Helper()
	to := w.Header().Get("Location")
	if w.Code != http.StatusSeeOther || !strings.HasPrefix(to, path) {
		t.Fatalf("%d, to %q, want %s\n%s", w.Code, to, path, boardtest.Says(w))
	}
	return to
}

// A file is seen before anything of it is stored, sent whole, and sent again changes
// nothing; it is never on disk.
func TestSend(t *testing.T) {
	temporary := t.TempDir()
	f, h := garage(t, map[string]string{"mileage.yaml": mileage, "broken.yaml": "import: readings\n", "notes.txt": "no mapping"})
	boardtest.Lacks(t, boardtest.Get(t, h, "/files"), 200, "mileage.yaml: readings", "broken.yaml", "the mapping names no source", "of at most 8 MiB and 50,000 rows")
	t.Setenv("TMPDIR", temporary)
	table := "Bus,Day,Km\nBus 7,02/06/2031,\"1,950\"\nbus-08,03/06/2031,500\nbus-08,04/06/2031,\nbus-07,05/06/2031,900\n"
	dry := goesTo(t, sending(t, h, "/files", map[string]string{"mapping": "mileage.yaml"}, map[string][2]string{"table": {"june.csv", table}}), "/files/dry/")
	w := boardtest.Get(t, h, dry)
	boardtest.Lacks(t, w, 200, "What june.csv would bring", "3 events would be new. Nothing is stored yet.", "Mapping mileage.yaml Rows read 4 Events that they make 3 New 3 Stored already 0 Rows without any value 1: row 4",
		"Send 3 events", "Doubtful Row Vehicle Day What is doubted 5 bus-07 5 Jun 2031", "oil change Soon bus-07", "2 bus-07 2 Jun 2031 odometer 1,950 km")
	if list, err := service.Alarms.Of(t.Context(), f.Service, service.Question{}); err != nil || len(list) != 0 {
		t.Errorf("after the dry run there stands %+v (%v)", list, err)
	}
	sent := goesTo(t, boardtest.Post(t, h, dry, url.Values{}), "/files/sent/")
	boardtest.Lacks(t, boardtest.Get(t, h, sent), 200, "june.csv is stored", "3 events stored. 0 were stored before. 0 were refused.", "The same file again changes nothing")
	soon := 0
	list, err := service.Alarms.Of(t.Context(), f.Service, service.Question{})
	for _, a := range list {
		if a.Rule == "oil change" && a.To == alarm.Soon {
			soon++
		}
	}
	if err != nil || soon != 1 {
		t.Errorf("after it was sent there stands %+v (%v)", list, err)
	}
	if to := goesTo(t, boardtest.Post(t, h, dry, url.Values{}), "/files/sent/"); to != sent {
		t.Errorf("pressed twice it goes to %s", to)
	}
	boardtest.Lacks(t, boardtest.Get(t, h, dry), 200, "All of it is stored already, so there is nothing to send.", "New 0 Stored already 3")
	longer := table + "bus-08,05/06/2031,600\n"
	again := goesTo(t, sending(t, h, "/files", map[string]string{"mapping": "-"}, map[string][2]string{"table": {"june.csv", longer}, "own": {"my.yaml", mileage}}), "/files/dry/")
	boardtest.Lacks(t, boardtest.Get(t, h, again), 200, "1 event would be new.", "Mapping my.yaml", "New 1 Stored already 3")
	if left, err := os.ReadDir(temporary); err != nil || len(left) != 0 {
		t.Errorf("on disk are %v (%v)", left, err)
	}
}

// What is wrong stands beside its row or its field, and nothing is stored.
func TestRefused(t *testing.T) {
	f, h := garage(t, map[string]string{"mileage.yaml": mileage})
	before, err := f.Log.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	own := map[string]string{"mapping": "mileage.yaml"}
	dry := goesTo(t, sending(t, h, "/files", own, map[string][2]string{"table": {"june.csv", "Bus,Day,Km\nBus 7,02/06/2031,1.950\nbus-09,03/06/2031,500\n"}}), "/files/dry/")
	boardtest.Lacks(t, boardtest.Get(t, h, dry), 200, "Nothing of this file can be stored until this is put right.",
		`2 3 "1.950" has a point, and the mapping does not say what it is (column "Km") in mileage.yaml: decimal mark: point`,
		`3 1 "bus-09" is not a vehicle of the register (column "Bus") in mileage.yaml: vehicle: {column: "Bus", names: {"bus-09": bus-07}}; or register it, or leave its rows out`)
	goesTo(t, boardtest.Post(t, h, dry, url.Values{}), dry)
	for name, c := range map[string]struct {
		fields map[string]string
		files  map[string][2]string
		want   []string
	}{
		"no table":        {own, nil, []string{"Not read: tables", "Table: Choose the file."}},
		"an empty table":  {own, map[string][2]string{"table": {"a.csv", ""}}, []string{"Table: It is empty."}},
		"no mapping":      {map[string]string{"mapping": "-"}, map[string][2]string{"table": {"a.csv", "a"}}, []string{"Mapping of your own: Choose the file."}},
		"another folder":  {map[string]string{"mapping": "../mappings/mileage.yaml"}, map[string][2]string{"table": {"a.csv", "a"}}, []string{`There is no mapping "../mappings/mileage.yaml" in the folder.`}},
		"a faulty one":    {map[string]string{"mapping": "-"}, map[string][2]string{"table": {"a.csv", "a"}, "own": {"my.yaml", "import: nothing\n"}}, []string{"The mapping has faults, which stand below.", "my.yaml:1:9:", "^"}},
		"too large a one": {map[string]string{"mapping": "-"}, map[string][2]string{"table": {"a.csv", "a"}, "own": {"my.yaml", strings.Repeat("#\n", 200<<10)}}, []string{"It has 400 KiB, and may have 256."}},
	} {
		w := sending(t, h, "/files", c.fields, c.files)
		t.Run(name, func(t *testing.T) { boardtest.Lacks(t, w, 422, c.want...) })
	}
	big := strings.Repeat("x", 9<<20)
	boardtest.Lacks(t, sending(t, h, "/files", own, map[string][2]string{"table": {"a.csv", big}}), 413, "That is too large.", "8 MiB")
	many := goesTo(t, sending(t, h, "/files", own, map[string][2]string{"table": {"a.csv", "Bus,Day,Km\n" + strings.Repeat("bus-07,02/06/2031,1500\n", 50_001)}}), "/files/dry/")
	boardtest.Lacks(t, boardtest.Get(t, h, many), 200, "it has 50001 rows, more than 50000", "split it into several files")
	boardtest.Lacks(t, boardtest.Get(t, h, "/files/dry/0123"), 404, "This file is no longer here.", "Choose it again")
	boardtest.Lacks(t, boardtest.Post(t, h, "/files/dry/0123", url.Values{}), 404, "This file is no longer here.")
	if after, err := f.Log.LastEvent(t.Context()); err != nil || after != before {
		t.Errorf("the log went from %d to %d (%v)", before, after, err)
	}
}

// A table of vehicles is compared with the register, and nothing of it is sent.
func TestVehicles(t *testing.T) {
	_, h := garage(t, map[string]string{"customers.yaml": "import: vehicles\nvehicle: Reg\nname: Name\nkind: {always: minibus}\nmeters: {odometer: distance}\n"})
	dry := goesTo(t, sending(t, h, "/files", map[string]string{"mapping": "customers.yaml"}, map[string][2]string{"table": {"c.csv", "Reg,Name\nbus-07,The seventh\nbus-09,Bus 9\n"}}), "/files/dry/")
	boardtest.Lacks(t, boardtest.Get(t, h, dry), 200, "1 vehicle would be new. Nothing is sent: vehicles are written into vehicles.yaml of the folder.", "bus-09: name: Bus 9", "bus-07: name Bus 7, in the table The seventh", "In the register, but not in the table bus-08")
	want := "  bus-09:\n    name: Bus 9\n    kind: minibus\n    meters: {odometer: distance}\n"
	if w := boardtest.Get(t, h, strings.Replace(dry, "dry", "register", 1)); w.Body.String() != want || w.Header().Get("Content-Disposition") != "attachment; filename=vehicles-new.yaml" {
		t.Errorf("%v\n%s\nwant\n%s", w.Header(), w.Body, want)
	}
	goesTo(t, boardtest.Post(t, h, dry, url.Values{}), dry)
}

// chosen are choices as the form sends them.
func chosen(more ...string) url.Values {
	v := url.Values{"of": {"readings"}, "encoding": {"utf-8"}, "delimiter": {"semicolon"}, "heading": {"1"}, "source": {"/sheet/1"}, "zone": {"UTC"},
		"date order": {"day first"}, "decimal mark": {"comma"}, "c1-heading": {"Reg"}, "c1-means": {"vehicle"}, "c1-names": {"B7 = bus-07\r\n"}, "c2-heading": {"When"}, "c2-means": {"date"},
		"c3-heading": {"Km"}, "c3-means": {"meter"}, "c3-name": {"odometer"}, "c3-unit": {"km"}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v
}

// A mapping is made by looking at a table, tried on it, kept in the folder and used.
func TestMakeMapping(t *testing.T) {
	f, h := garage(t, nil)
	boardtest.Lacks(t, boardtest.Get(t, h, "/files/new"), 200, "What is in it?", "mileage or hours: what meters show", "Look at its columns")
	table := "Reg;When;Km\nB7;02.06.2031;1200,5\nbus-08;03.06.2031;500\n"
	look := goesTo(t, sending(t, h, "/files/new", map[string]string{"of": "readings"}, map[string][2]string{"table": {"june.csv", table}}), "/files/new/")
	w := boardtest.Get(t, h, look)
	boardtest.Lacks(t, w, 200, "The table june.csv has 2 rows.", "1: Reg B7 · bus-08", "2: When 02.06.2031 · 03.06.2031", "3: Km 1200,5 · 500")
	if !strings.Contains(look, "delimiter=semicolon") || !strings.Contains(w.Body.String(), `<option value="odometer">`) {
		t.Errorf("%s\n%s", look, w.Body)
	}
	path, _, _ := strings.Cut(look, "?")
	boardtest.Lacks(t, boardtest.Post(t, h, path, chosen("do", "try", "c3-unit", "")), 422, "Unit of column 3: A number has a unit: choose it.")
	boardtest.Lacks(t, boardtest.Post(t, h, path, chosen("do", "try", "decimal mark", "")), 200, `2 3 "1200,5" has a comma, and the mapping does not say what it is (column "Km") in mapping.yaml: decimal mark: comma`)
	boardtest.Lacks(t, boardtest.Post(t, h, path, chosen("do", "try")), 200, "All 2 rows can be read. They make 2 events.", "2 bus-07 2 Jun 2031 odometer 1,201 km 3 bus-08 3 Jun 2031 odometer 500 km")
	want := "import: readings\nsource: /sheet/1\nzone: UTC\ndelimiter: semicolon\ndecimal mark: comma\ndate order: day first\nvehicle: {column: Reg, names: {B7: bus-07}}\ndate: {column: When}\nmeters:\n  odometer: {column: Km, unit: km}\n"
	if w := boardtest.Post(t, h, path, chosen("do", "text", "save", "june")); w.Body.String() != want || w.Header().Get("Content-Disposition") != "attachment; filename=june.yaml" {
		t.Errorf("%v\n%s\nwant\n%s", w.Header(), w.Body, want)
	}
	for _, name := range []string{"", "../june", "June", "a/b", ".june", strings.Repeat("a", 61)} {
		boardtest.Lacks(t, boardtest.Post(t, h, path, chosen("do", "save", "save", name)), 422, "Name of the mapping: Give it a name of small letters, figures, - and _.")
	}
	if to := goesTo(t, boardtest.Post(t, h, path, chosen("do", "save", "save", "june")), "/files?"); to != "/files?mapping=june.yaml" {
		t.Errorf("it goes to %s", to)
	}
	saved := filepath.Join(f.Dir, "mappings", "june.yaml")
	if got, err := os.ReadFile(saved); err != nil || string(got) != want {
		t.Errorf("saved is %q (%v), want %q", got, err, want)
	}
	boardtest.Lacks(t, boardtest.Post(t, h, path, chosen("do", "save", "save", "june", "source", "/other")), 422, "There is a mapping of that name already, and it stays as it is: choose another name.")
	if got, err := os.ReadFile(saved); err != nil || string(got) != want {
		t.Errorf("after another was to be saved it is %q (%v)", got, err)
	}
	if w := boardtest.Get(t, h, "/files?mapping=june.yaml"); !strings.Contains(w.Body.String(), `value="june.yaml" checked`) {
		t.Errorf("the one that was saved is not chosen\n%s", w.Body)
	}
	dry := goesTo(t, boardtest.Post(t, h, path, chosen("do", "go")), "/files/dry/")
	boardtest.Lacks(t, boardtest.Get(t, h, dry), 200, "2 events would be new.")
	boardtest.Lacks(t, boardtest.Post(t, h, "/files/new/0123", chosen("do", "try")), 200, "The table is no longer here", "odometer: {column: Km, unit: km}")
	boardtest.Lacks(t, boardtest.Get(t, h, "/files/new/0123"), 404, "This file is no longer here.")
	boardtest.Lacks(t, boardtest.Get(t, h, path+"?heading=99"), 200, "It has no row 99 with headings.")
}

// Where there is no folder, a mapping is downloaded alone.
func TestNoFolder(t *testing.T) {
	f := boardtest.Sample(t)
	h := board.Handler(f.Frame)
	boardtest.Lacks(t, boardtest.Get(t, h, "/files"), 200, "one of my own, which I send along")
	look := goesTo(t, sending(t, h, "/files/new", map[string]string{"of": "samples"}, map[string][2]string{"table": {"lab.csv", "Vehicle,Number,Fe\nbus-01,1,2\n"}}), "/files/new/")
	w := boardtest.Get(t, h, look)
	boardtest.Lacks(t, w, 200, "Which meter or result")
	if strings.Contains(w.Body.String(), `value="save"`) || w.Body.Len() > 60<<10 {
		t.Errorf("%d bytes\n%s", w.Body.Len(), w.Body)
	}
	for _, want := range []string{`value="vehicle" selected`, `value="analyte" selected`, `name="c3-name" value="Fe"`} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	path, _, _ := strings.Cut(look, "?")
	boardtest.Lacks(t, boardtest.Post(t, h, path, chosen("do", "save", "save", "june")), 422, "There is no folder to save it in; download it.")
}

// Whatever stands in a table, in names of files and in what was typed is shown as text.
func TestHostile(t *testing.T) {
	_, h := garage(t, map[string]string{"mileage.yaml": mileage})
	fine := func(what string, w *httptest.ResponseRecorder) {
		t.Helper()
		body := w.Body.String()
		if w.Code >= 500 || strings.Contains(body, "<script>") || strings.Contains(body, "<img") || strings.Contains(body, "</textarea></div>{{") || strings.Count(body, "<main") > 1 {
			t.Errorf("%s: %d\n%.2000s", what, w.Code, body)
		}
	}
	for i, text := range hostile.Text {
		quoted := `"` + strings.ReplaceAll(text, `"`, `""`) + `"`
		for n, table := range []string{"Bus,Day,Km\n" + quoted + ",02/06/2031,5\n", quoted + ",Day,Km\nbus-07,02/06/2031,5\n"} {
			name := fmt.Sprintf("%d, %d", i, n)
			w := sending(t, h, "/files", map[string]string{"mapping": "mileage.yaml"}, map[string][2]string{"table": {text, table}})
			fine(name, w)
			if to := w.Header().Get("Location"); to != "" {
				fine(name, boardtest.Get(t, h, to))
			}
			w = sending(t, h, "/files/new", map[string]string{"of": "readings"}, map[string][2]string{"table": {text, table}})
			to := w.Header().Get("Location")
			if to == "" {
				fine(name, w)
				continue
			}
			fine(name, boardtest.Get(t, h, to))
			path, _, _ := strings.Cut(to, "?")
			fine(name, boardtest.Post(t, h, path, chosen("do", "try", "c1-heading", text, "c1-names", text, "c3-name", text, "c3-unit", text, "source", text, "save", text)))
		}
		fine("no table", boardtest.Post(t, h, "/files/new/none", chosen("do", "try", "c1-heading", text, "c1-names", text, "source", text)))
	}
}
