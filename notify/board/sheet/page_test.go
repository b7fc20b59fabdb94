package sheet_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
	"golang.org/x/tools/txtar"

	"telltale/engine/intake"
	"telltale/engine/sample"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// people see the pages of the fleets that these tests make.
const people = "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London}\n" +
	"  gus: {name: Gus Harrow, mail: gus@larkfell.example, zone: Europe/London, spelling: en-US, numbers: comma, distance: mi}\noperator: [ines]\n"

// fleet is one with the rules of a story of the engine.
func fleet(t *testing.T, story, events string) *boardtest.Fleet {
	t.Helper()
	text, err := os.ReadFile("../../../engine/testdata/" + story + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(txtar.Parse(text).Files, func(f txtar.File) bool { return f.Name == "rules.yaml" })
	return boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "rules/all.yaml", Text: txtar.Parse(text).Files[i].Data}}, People: people, Events: encoded(t, events)})
}

// encoded are events of the short form, a line each, as JSON.
func encoded(t *testing.T, short string) string {
	t.Helper()
	var b strings.Builder
	n := 0
	for line := range strings.Lines(short) {
		n++
		ev, err := intake.Short(strings.TrimSpace(line), fmt.Sprintf("e-%d", n), unit.System{Distance: "km", Volume: "L"})
		if err != nil {
			t.Fatal(err)
		}
		text, err := intake.Encode(ev)
		if err != nil {
			t.Fatal(err)
		}
		b.Write(append(text, '\n'))
	}
	return b.String()
}

// parsed is a page as a tree.
func parsed(t *testing.T, w *httptest.ResponseRecorder) *html.Node {
	t.Helper()
	n, err := html.Parse(strings.NewReader(w.Body.String()))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// words are the text below a node, blanks put together.
func words(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return english.OneLine(b.String())
}

// cells are the rows of a table, by the words that stand in its head.
func cells(n *html.Node, head string) (out [][]string) {
	for table := range n.Descendants() {
		if table.Data != "table" || !strings.Contains(words(table), head) {
			continue
		}
		for tr := range table.Descendants() {
			if tr.Data != "tr" || tr.Parent.Data != "tbody" {
				continue
			}
			var row []string
			for td := range tr.ChildNodes() {
				if td.Data == "td" || td.Data == "th" {
					row = append(row, words(td))
				}
			}
			out = append(out, row)
		}
	}
	return out
}

// sheets are all samples of the sample fleet, as the service lists and reads them.
func sheets(t *testing.T, f *boardtest.Fleet) (lines []sample.Line, of []sample.Verdict) {
	t.Helper()
	register, err := service.Register.Of(t.Context(), f.Service, service.Question{})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range register {
		q := service.Question{Vehicle: v.Vehicle, Units: []string{}}
		list, err := service.Sampled.Of(t.Context(), f.Service, q)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range list {
			q.Component, q.Number = l.Component, l.Number
			read, err := service.Samples.Of(t.Context(), f.Service, q)
			if err != nil || len(read) != 1 {
				t.Fatalf("%s %s: %d sheets (%v)", v.Vehicle, l.Number, len(read), err)
			}
			lines, of = append(lines, l), append(of, read[0])
		}
	}
	return lines, of
}

// TestSheets: the page of each sample of the sample fleet says what the service says: its
// verdict, what to do, each result, what was not judged, all samples; and its pictures are
// drawn.
func TestSheets(t *testing.T) {
	f := boardtest.Sample(t)
	h := board.Handler(f.Frame)
	lines, of := sheets(t, f)
	if len(of) < 15 {
		t.Fatalf("%d sheets", len(of))
	}
	for i, v := range of {
		path := frame.Path("v", v.Vehicle, "samples", v.Component, v.Number)
		w := boardtest.Get(t, h, path)
		page := parsed(t, w)
		said := words(page)
		if w.Code != http.StatusOK || w.Body.Len() > 60<<10 {
			t.Errorf("%s: %d, %d bytes", path, w.Code, w.Body.Len())
		}
		for _, r := range v.Reasons {
			for _, want := range []string{english.Sentence(r.Message), r.Advise} {
				if want = f.People().People()[0].DatesIn(want); !strings.Contains(said, strings.TrimSuffix(want, ".")) {
					t.Errorf("%s does not say %q", path, want)
				}
			}
		}
		for _, n := range v.NotJudged {
			if !strings.Contains(said, english.Capital(n.Rule)+" (missing: "+n.Missing[0]) {
				t.Errorf("%s does not say that %s was not judged", path, n.Rule)
			}
		}
		for k, row := range cells(page, "Compared") {
			r := &v.Results[k]
			want := ""
			for _, s := range r.Beside() {
				want += " " + english.Sentence(s)
			}
			if row[0] != english.Capital(r.Named()) || row[1] != r.Reported || !strings.HasPrefix(" "+row[2], want) {
				t.Errorf("%s: %q, want %s %s%s", path, row, r.Named(), r.Reported, want)
			}
		}
		if n := len(cells(page, "Compared")); n != len(v.Results) {
			t.Errorf("%s has %d results, want %d", path, n, len(v.Results))
		}
		listed := cells(page, "What was found")
		if k := slices.IndexFunc(listed, func(row []string) bool { return row[1] == v.Number+", this one" }); k < 0 || !strings.Contains(listed[k][0]+listed[k][5], f.People().People()[0].Date(lines[i].Drawn)) {
			t.Errorf("%s lists %q", path, listed)
		}
		drawn(t, h, page)
	}
}

var svg = regexp.MustCompile(`^<\?xml|^<svg`)

// drawn checks that all pictures of a page are there, wide and slim.
func drawn(t *testing.T, h http.Handler, page *html.Node) {
	t.Helper()
	for n := range page.Descendants() {
		for _, a := range n.Attr {
			if n.Data != "img" && n.Data != "source" || a.Key != "src" && a.Key != "srcset" {
				continue
			}
			w := boardtest.Get(t, h, a.Val)
			if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "image/svg+xml" || !svg.MatchString(w.Body.String()) {
				t.Errorf("%s: %d, %s", a.Val, w.Code, w.Header().Get("Content-Type"))
			}
		}
	}
}

// TestWithoutSample: each page that has no sample to show says why, and what is not there is
// not found.
func TestWithoutSample(t *testing.T) {
	sampled := board.Handler(boardtest.Sample(t).Frame)
	const events = "2031-01-01 vehicle van-1 van meter odometer component engine \"diesel engine\"\n"
	unruled := board.Handler(boardtest.New(t, boardtest.Files{People: people, Events: encoded(t, events)}).Frame)
	retired := board.Handler(boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}}, People: people,
		Vehicles: "vehicles:\n  van-1: {kind: van, retired: yes, meters: {odometer: {kind: distance}}, components: {engine: {kind: diesel engine}}}\n",
		Events:   encoded(t, "2031-01-01 reading van-1 odometer 1000 km\n")}).Frame)
	for path, c := range map[string]struct {
		h      http.Handler
		status int
		says   string
	}{
		"/v/bus-01/samples/transmission":                     {sampled, 200, "No sample of the transmission has come yet."},
		"/v/van-1/samples/engine":                            {unruled, 200, "No rules are in force, so no sample is judged."},
		"/v/van-1/samples/engine?":                           {retired, 200, "This vehicle is retired"},
		"/v/bus-01/samples/nothing":                          {sampled, 404, "There is nothing here."},
		"/v/bus-99/samples/engine":                           {sampled, 404, "There is nothing here."},
		"/v/bus-07/samples/transmission/L-9":                 {sampled, 404, "There is nothing here."},
		"/v/bus-07/samples/transmission/L-9/chart.svg":       {sampled, 404, "There is nothing here."},
		"/v/bus-07/samples/transmission/L-1004/made/nothing": {sampled, 404, "There is nothing here."},
		"/v/bus-01/sample":                                   {sampled, 200, "Of which component is the sample?"},
	} {
		w := boardtest.Get(t, c.h, path)
		if said := words(parsed(t, w)); w.Code != c.status || !strings.Contains(said, c.says) {
			t.Errorf("%s: %d, %s", path, w.Code, said)
		}
	}
}

// offered are the samples of van-1 by which another interval is offered; A-2 is reported
// again, corrected.
const offered = `2030-01-01 vehicle van-1 van meter odometer component engine "diesel engine" fluid oil capacity 10 L
2031-01-02T01:00 service van-1 "engine oil" on engine odometer 100000 filled 10 L flush
2031-02-01 sample van-1 engine odometer 104000 age 4000 Fe 8 Si 6 KV100 13.8 TBN 9.4 number A-1
2031-03-01 sample van-1 engine odometer 108000 age 8000 Fe 15 Si 7 KV100 13.7 TBN 8.8 number A-2
2031-04-01 sample van-1 engine odometer 111000 age 11000 Fe 21 Si 8 KV100 13.6 TBN 8.4 number A-3
2031-05-01 sample van-1 engine odometer 112000 age 12000 Fe 23 Si 8 KV100 13.6 TBN 8.2 number A-4
`

// TestOffer: what the latest sample offers can be accepted; of an earlier one, and of one
// that was corrected, the page says so and offers nothing.
func TestOffer(t *testing.T) {
	f := fleet(t, "offer", offered)
	h := board.Handler(f.Frame)
	latest := boardtest.Get(t, h, "/v/van-1/samples/engine").Body.String()
	accept := `/v/van-1/answer?answer=accept&amp;component=engine&amp;rule=engine`
	if !strings.Contains(latest, accept) || !strings.Contains(latest, "than it is due now") || !strings.Contains(latest, "Nothing changes until somebody accepts it") {
		t.Errorf("nothing is offered:\n%s", latest)
	}
	earlier := boardtest.Get(t, h, "/v/van-1/samples/engine/A-3").Body.String()
	if strings.Contains(earlier, "answer=accept") || !strings.Contains(earlier, "There is a later sample.") || !strings.Contains(earlier, `href="/v/van-1/samples/engine/A-4"`) {
		t.Errorf("an earlier sample:\n%s", earlier)
	}
}

// TestDoubted: a sheet that looks like another fluid's says so, and leads to where it can
// be taken out; of two samples with one number each has an address.
func TestDoubted(t *testing.T) {
	f := fleet(t, "bottle", `2030-12-01 vehicle bus-07 minibus meter odometer component engine "diesel engine" fluid 15W-40 capacity 8 L component gearbox "automatic transmission" fluid ATF capacity 9 L
2031-01-10 sample bus-07 engine odometer 100000 P 640 Ca 1950 Zn 720 B <5 KV100 12.6 number ..
2031-01-20 sample bus-07 engine odometer 101000 P 640 Ca 1940 Zn 710 B <5 KV100 12.5 number A/1
2031-01-30 sample bus-07 engine odometer 102000 P 640 Ca 1950 Zn 715 B <5 KV100 12.5 number A-2
2031-02-10 sample bus-07 engine odometer 104000 P 300 Ca 125 Zn 6 B 80 KV100 6.6 number A-3 id slip
`)
	h := board.Handler(f.Frame)
	w := boardtest.Get(t, h, "/v/bus-07/samples/engine")
	page := parsed(t, w)
	said := words(page)
	if !strings.Contains(said, "This sheet looks like the fluid of the gearbox") || !strings.Contains(w.Body.String(), `href="/v/bus-07/entered/slip">This is another vehicle&#39;s</a>`) {
		t.Errorf("not doubted: %s", said)
	}
	if n := strings.Count(said, "looks like the fluid of the gearbox"); n != 1 {
		t.Errorf("it is said %d times", n)
	}
	read := 0
	for n := range page.Descendants() {
		for _, a := range n.Attr {
			if n.Data == "a" && strings.HasPrefix(a.Val, "/v/bus-07/samples/engine") {
				w := boardtest.Get(t, h, a.Val)
				if number := words(n); w.Code != 200 || !strings.Contains(words(parsed(t, w)), "Sample "+number+" of the engine") {
					t.Errorf("%s leads from %s to %d", a.Val, number, w.Code)
				}
				read++
			}
		}
	}
	if read != 3 {
		t.Errorf("%d earlier samples", read)
	}
}

// TestSpelled: who reads in miles and American English has the page so.
func TestSpelled(t *testing.T) {
	f := fleet(t, "offer", offered)
	h := board.Handler(f.Frame)
	r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:4280/v/van-1/samples/engine", nil)
	r.Header.Set("Cookie", "telltale-who=gus")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if said := words(parsed(t, w)); !strings.Contains(said, "7,457 mi") || !strings.Contains(said, "May 1, 2031") || strings.Contains(said, " km") {
		t.Errorf("%s", said)
	}
}
