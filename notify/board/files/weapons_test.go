package files_test

import (
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"telltale/notify/board/boardtest"
	"telltale/testdata/quick"
)

// tree is what lies in a folder: names and contents.
func tree(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			fmt.Fprintln(&b, path)
			return err
		}
		text, err := os.ReadFile(path)
		fmt.Fprintf(&b, "%s %q\n", path, text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// No name of a mapping or a file reads or writes anything beside the mappings.
func TestNamesLeaveNoFolder(t *testing.T) {
	f, h := garage(t, map[string]string{"mileage.yaml": mileage})
	put(t, filepath.Join(f.Dir, "people.yaml"), "people:\n  ines: {mail: the-secret@larkfell.example}\n")
	put(t, filepath.Join(f.Dir, "mappings-of-others", "theirs.yaml"), strings.Replace(mileage, "import: readings", "import: the-secret", 1))
	put(t, filepath.Join(f.Dir, "mappings", "below", "deep.yaml"), "import: the-secret\n")
	before := tree(t, f.Dir)
	table := map[string][2]string{"table": {"june.csv", "Bus,Day,Km\nbus-07,02/06/2031,1950\n"}}
	look := goesTo(t, sending(t, h, "/files/new", map[string]string{"of": "readings"}, table), "/files/new/")
	path, _, _ := strings.Cut(look, "?")
	for _, name := range []string{"..", ".", "/", "", "../people.yaml", "..%2fpeople.yaml", "%2e%2e/people.yaml", "..\\people.yaml", "../mappings/mileage.yaml", "./mileage.yaml", "mileage.yaml/", "mileage.yaml/.", "mileage.yaml\x00", "mileage.yaml\x00.csv", "\x00", "below/deep.yaml", "below", "../mappings-of-others/theirs.yaml",
		filepath.Join(f.Dir, "people.yaml"), "/etc/passwd", "file:///etc/passwd", "C:\\people.yaml", "\\\\host\\people.yaml", "\xff", "\xc0\xae\xc0\xae/people.yaml", "．．/people.yaml", strings.Repeat("../", 100) + "etc/passwd", strings.Repeat("x", 5000), "people.yaml", "MILEAGE.YAML", "mileage.yaml ", "mileage.yaml.", "*", "mileage.y?ml", "$(id)", "-", "~/people.yaml"} {
		for what, w := range map[string]*httptest.ResponseRecorder{
			"used":       sending(t, h, "/files", map[string]string{"mapping": name}, table),
			"sent along": sending(t, h, "/files", map[string]string{"mapping": "-"}, map[string][2]string{"table": {name, table["table"][1]}, "own": {name, "import: x\n"}}),
			"saved":      boardtest.Post(t, h, path, chosen("do", "save", "save", name)),
		} {
			if w.Code != 422 && w.Code != 400 || strings.Contains(w.Body.String(), "the-secret") || strings.Contains(w.Body.String(), "root:") || strings.Contains(w.Body.String(), f.Dir) && !strings.Contains(name, f.Dir) {
				t.Errorf("%s, %q: %d\n%.1000s", what, name, w.Code, boardtest.Says(w))
			}
		}
		r := httptest.NewRequest("GET", "http://127.0.0.1:4280/files", nil)
		r.URL.RawQuery = "mapping=" + strings.NewReplacer("%", "%25", "\x00", "%00", "&", "%26").Replace(name)
		w := httptest.NewRecorder()
		if h.ServeHTTP(w, r); w.Code >= 500 || strings.Contains(w.Body.String(), "the-secret") {
			t.Errorf("asked for, %q: %d", name, w.Code)
		}
		for _, of := range []string{"/files/dry/", "/files/sent/", "/files/register/", "/files/new/"} {
			r := httptest.NewRequest("GET", "http://127.0.0.1:4280/", nil)
			r.URL.Path, r.URL.RawPath = of+name, ""
			w := httptest.NewRecorder()
			if h.ServeHTTP(w, r); w.Code != 404 && w.Code != 307 && w.Code != 301 && name != "" {
				t.Errorf("%s%q: %d", of, name, w.Code)
			}
		}
	}
	if after := tree(t, f.Dir); after != before {
		t.Errorf("the folder was\n%s\nand is\n%s", before, after)
	}
}

// Tables made to take long or much are refused with a reason, or read as what they are.
func TestTablesAsWeapons(t *testing.T) {
	f, h := garage(t, map[string]string{"mileage.yaml": mileage})
	before, err := f.Log.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	many, big := 100_000, 800<<10 // columns, bytes
	if quick.CI() {
		many, big = 1_000_000, 7<<20
	}
	for name, text := range map[string]string{
		"a million columns":   "Bus,Day,Km" + strings.Repeat(",", many) + "\n",
		"columns in a row":    "Bus,Day,Km\nbus-07,02/06/2031,5" + strings.Repeat(",x", many) + "\n",
		"a huge cell":         "Bus,Day,Km\nbus-07,02/06/2031," + strings.Repeat("9", big) + "\n",
		"a huge heading":      strings.Repeat("Bus", big/4) + ",Day,Km\nbus-07,02/06/2031,5\n",
		"a quote without end": "Bus,Day,Km\n\"bus-07," + strings.Repeat("02/06/2031,5\n", many/2),
		"quotes alone":        strings.Repeat("\"", big),
		"lines alone":         strings.Repeat("\n", big),
		"returns alone":       strings.Repeat("\r", big),
		"separators alone":    strings.Repeat(",\n", big/2),
		"one heading, often":  "Bus,Day,Km" + strings.Repeat(",Km", 400) + "\nbus-07,02/06/2031,5\n",
		"NULs":                strings.Repeat("\x00", big/8),
		"half of UTF-16":      "\xff\xfeB\x00u\x00s",
		"UTF-16 of UTF-8":     "\xef\xbb\xbf\xff\xfeBus,Day,Km\n",
		"no UTF-8":            strings.Repeat("\xff", big/8),
		"marks in marks":      "Bus,Day,Km\n" + "e" + strings.Repeat("\u0301", big/8) + ",02/06/2031,5\n",
		"a zipped one":        "PK\x03\x04" + strings.Repeat("\x00", 1000),
		"faults in each row":  "Bus,Day,Km\n" + strings.Repeat("bus-99,99/99/9999,x\n", 49_000),
	} {
		for at, fields := range map[string]map[string]string{"/files": {"mapping": "mileage.yaml"}, "/files/new": {"of": "readings"}} {
			w := sending(t, h, at, fields, map[string][2]string{"table": {"june.csv", text}})
			if to := w.Header().Get("Location"); w.Code == http.StatusSeeOther {
				w = boardtest.Get(t, h, to)
			}
			if w.Code != 200 && w.Code != 422 && w.Code != 413 || w.Body.Len() > 400<<10 {
				t.Errorf("%s at %s: %d, %d bytes\n%.400s", name, at, w.Code, w.Body.Len(), boardtest.Says(w))
			}
			if strings.Contains(w.Body.String(), "events would be new") {
				t.Errorf("%s at %s would bring something", name, at)
			}
		}
	}
	if after, err := f.Log.LastEvent(t.Context()); err != nil || after != before {
		t.Errorf("the log went from %d to %d (%v)", before, after, err)
	}
}

// A mapping made to take long or much is refused, or maps as it says.
func TestMappingsAsWeapons(t *testing.T) {
	_, h := garage(t, nil)
	aliases := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'k'; c++ {
		aliases += string(c) + ": &" + string(c) + " [" + strings.Repeat("*"+string(c-1)+",", 9) + "]\n"
	}
	for name, text := range map[string]string{
		"aliases":         aliases,
		"within":          mileage + "names: &a {b: *a}\n",
		"merges":          mileage + "x: &x {a: b}\ny: {<<: [" + strings.Repeat("*x,", 20_000) + "]}\n",
		"deep lists":      "import: " + strings.Repeat("[", 100_000),
		"deep maps":       "import: " + strings.Repeat("{a: ", 50_000),
		"many keys":       mileage + strings.Repeat("x: y\n", 40_000),
		"a long key":      strings.Repeat("x", 200<<10) + ": y\n",
		"many names":      strings.Replace(mileage, "vehicle: Bus\n", "vehicle: {column: Bus, names: {"+strings.Repeat("a: bus-07, ", 15_000)+"}}\n", 1),
		"documents":       strings.Repeat("---\nimport: readings\n", 10_000),
		"tags":            "import: !!python/object/apply:os.system [id]\n",
		"binary":          "import: !!binary " + strings.Repeat("A", 100_000) + "\n",
		"a NUL":           "import: readings\x00\n",
		"control":         "import: \"\\u001b[31m\"\n",
		"many meters":     strings.Replace(mileage, "meters: {", "meters: {"+strings.Repeat("m: {column: Km, unit: km}, ", 5_000), 1),
		"a thousand more": strings.Replace(mileage, "meters: {odometer", "meters: {"+strings.Join(some(1000, "m%d: {column: Km, unit: km}, "), "")+"odometer", 1),
	} {
		w := sending(t, h, "/files", map[string]string{"mapping": "-"}, map[string][2]string{"table": {"june.csv", "Bus,Day,Km\nbus-07,02/06/2031,1950\n"}, "own": {"my.yaml", text}})
		if to := w.Header().Get("Location"); w.Code == http.StatusSeeOther {
			w = boardtest.Get(t, h, to)
		}
		if w.Code != 200 && w.Code != 422 && w.Code != 413 || w.Body.Len() > 100<<10 {
			t.Errorf("%s: %d, %d bytes\n%.400s", name, w.Code, w.Body.Len(), boardtest.Says(w))
		}
		if strings.ContainsRune(w.Body.String(), '\x1b') {
			t.Errorf("%s drives a terminal", name)
		}
	}
}

func some(n int, format string) (out []string) {
	for i := range n {
		out = append(out, fmt.Sprintf(format, i))
	}
	return out
}

// A form of ten thousand parts, or of one that hides another, is refused.
func TestPartsAsWeapons(t *testing.T) {
	_, h := garage(t, map[string]string{"mileage.yaml": mileage})
	part := func(head, body string) string {
		return "--x\r\nContent-Disposition: form-data; " + head + "\r\n\r\n" + body + "\r\n"
	}
	for name, body := range map[string]string{
		"10,000 fields":     strings.Repeat(part(`name="mapping"`, "mileage.yaml"), 10_000) + "--x--\r\n",
		"10,000 files":      strings.Repeat(part(`name="table"; filename="a.csv"`, "a"), 10_000) + "--x--\r\n",
		"without end":       part(`name="table"; filename="a.csv"`, "a"),
		"long heads":        "--x\r\n" + strings.Repeat("X: "+strings.Repeat("y", 1000)+"\r\n", 5_000) + "\r\n\r\n--x--\r\n",
		"many heads":        "--x\r\n" + strings.Repeat("X: y\r\n", 50_000) + "\r\n\r\n--x--\r\n",
		"no heads":          "--x\r\n\r\na\r\n--x--\r\n",
		"a form in a form":  "--x\r\nContent-Disposition: form-data; name=\"table\"; filename=\"a.csv\"\r\nContent-Type: multipart/mixed; boundary=x\r\n\r\n--x\r\n\r\na\r\n--x--\r\n--x--\r\n",
		"a preamble":        strings.Repeat("a", 1<<20) + "\r\n--x--\r\n",
		"an encoded one":    "--x\r\nContent-Disposition: form-data; name=\"table\"; filename=\"a.csv\"\r\nContent-Transfer-Encoding: base64\r\n\r\n!!!\r\n--x--\r\n",
		"another's charset": part(`name="_charset_"`, "utf-16") + part(`name="mapping"`, "m\x00") + "--x--\r\n",
	} {
		for _, at := range []string{"/files", "/files/new"} {
			r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:4280"+at, strings.NewReader(body))
			r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
			w := httptest.NewRecorder()
			if h.ServeHTTP(w, r); w.Code != 400 && w.Code != 413 && w.Code != 422 {
				t.Errorf("%s at %s: %d\n%.300s", name, at, w.Code, boardtest.Says(w))
			}
		}
	}
}
