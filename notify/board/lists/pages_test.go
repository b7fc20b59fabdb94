package lists_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/boardtest/browser"
	"telltale/notify/wording"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) {
	quick.Start()
	code := m.Run()
	browser.Close()
	boardtest.Stop()
	os.Exit(code)
}

// most is how heavy a page may be.
const most = 60 << 10

// as asks for a page as somebody.
func as(t *testing.T, h http.Handler, who, path string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1:4280"+path, nil)
	r.Header.Set("Cookie", "telltale-who="+who)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// texts are what stands in the elements that are chosen, as people read it.
func texts(t *testing.T, body string, is func(*html.Node) bool) (out []string) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for n := range root.Descendants() {
		if n.Type == html.ElementNode && is(n) {
			out = append(out, textOf(n))
		}
	}
	return out
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func class(n *html.Node, name string) bool {
	return slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == "class" && slices.Contains(strings.Fields(a.Val), name) })
}

func TestPages(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	for _, who := range []string{"ines", "north", "south", "tobias", "maud", "abel"} {
		for _, path := range []string{"/", "/due", "/due/print", "/due?ahead=30", "/due?tag=depot%3Dnorth&on=2031-07-01", "/standing", "/standing?view=aside", "/standing?view=out",
			"/standing?view=returned", "/standing?view=postponed", "/standing?of=data", "/standing/print", "/vehicles", "/vehicles?silent=14", "/vehicles/print", "/labels", "/readings"} {
			w := as(t, h, who, path)
			if w.Code != http.StatusOK || w.Body.Len() > most || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
				t.Errorf("%s for %s: %d, %d bytes", path, who, w.Code, w.Body.Len())
			}
			if strings.Contains(w.Body.String(), "ZgotmplZ") || strings.Contains(w.Body.String(), "style=") {
				t.Errorf("%s for %s has what a policy or a template forbids", path, who)
			}
		}
	}
}

// The due list has all that the service says is due, in its order and in the words of mails.
func TestDueSaysWhatIsDue(t *testing.T) {
	f := boardtest.Sample(t)
	page := as(t, board.Handler(f.Frame), "north", "/due").Body.String()
	work, err := service.Due.Of(t.Context(), f.Service, service.Question{Units: []string{}})
	if err != nil || len(work) < 5 {
		t.Fatalf("%d lines due (%v)", len(work), err)
	}
	p := wording.Reader{Person: f.People().Person("north")}
	want := []string{"Bus 3 · transmission, copper over baseline"} // to be stopped
	for i := range work {
		it := p.Work(p.SaidOf(&work[i]), "2031-06-06")
		want = append(want, work[i].Name+" · "+it.What)
		if text := html.EscapeString(it.Lines[0].Text); !strings.Contains(page, text) {
			t.Errorf("the page lacks %q", text)
		}
	}
	got := texts(t, page, func(n *html.Node) bool { return n.Data == "p" && class(n.Parent, "what") })
	if !slices.Equal(got, want) {
		t.Errorf("the lines are\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	for _, sum := range []string{fmt.Sprintf("1 to stop, %d overdue", count(work, alarm.Overdue)), fmt.Sprintf("<p>%d lines</p>", len(work)+1)} {
		if !strings.Contains(page, sum) {
			t.Errorf("the page lacks %q", sum)
		}
	}
	if strings.Index(page, ">Print<") > strings.Index(page, "Stop these first") {
		t.Error("the ways to take it along stand below the list")
	}
	if heads := texts(t, page, func(n *html.Node) bool { return n.Data == "h2" }); !slices.Equal(heads, []string{"Stop these first", "Overdue", "Soon", "Have ready", "Safety"}) {
		t.Errorf("the headings are %q", heads)
	}
}

func count(work []due.Item, stage alarm.Stage) (n int) {
	for i := range work {
		if work[i].Stage == stage {
			n++
		}
	}
	return n
}

// What stands is what the service says stands, the worst first.
func TestStandingSaysWhatStands(t *testing.T) {
	f := boardtest.Sample(t)
	all, err := service.Alarms.Of(t.Context(), f.Service, service.Question{})
	if err != nil {
		t.Fatal(err)
	}
	count := func(view string) int {
		return len(texts(t, as(t, board.Handler(f.Frame), "ines", "/standing?view="+view).Body.String(), func(n *html.Node) bool { return n.Data == "li" && class(n.Parent, "rows") }))
	}
	n := map[string]int{}
	for _, a := range all {
		switch {
		case a.To == alarm.Normal:
			n["returned"]++
		case a.Standing == alarm.OutOfService:
			n["out"]++
		case !a.Task:
			n["standing"]++
		}
	}
	for view, want := range map[string]int{"": n["standing"], "out": n["out"], "returned": n["returned"], "aside": 0, "postponed": 0} {
		if got := count(view); got != want {
			t.Errorf("%q has %d lines, want %d", view, got, want)
		}
	}
}

func TestFilters(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	for path, want := range map[string][]string{
		"/due?q=coolant":                       {"Mobile library", "Bus 2"},
		"/due?q=LIBRARY+cool":                  {"Mobile library"},
		"/due?tag=depot%3Dsouth":               {"Van 3", "Van 3", "Bus 10"},
		"/due?stage=overdue":                   {"Bus 3"},
		"/due?law=1":                           {"Bus 3", "Van 3"},
		"/due?kind=van":                        {"Van 3", "Van 3"},
		"/due?vehicle=bus-10":                  {"Bus 10"},
		"/due?vehicle=van-03&on=2031-06-20":    {"Van 3", "Van 3", "Van 3"},
		"/standing?stage=advisory&q=bus":       {"Bus 12", "Bus 7", "Bus 5"},
		"/standing?tag=depot%3Dsouth":          {"Bus 7", "Bus 12", "Bus 7"},
		"/standing?rule=copper+over+baseline":  {"Bus 3", "Bus 7"},
		"/standing?view=out&q=gritter":         {"Gritter 1", "Gritter 1"},
		"/standing?view=returned&q=van-02+law": nil,
	} {
		w := as(t, h, "ines", path)
		got := texts(t, w.Body.String(), func(n *html.Node) bool { return n.Data == "a" && class(n, "strong") })
		if w.Code != http.StatusOK || !slices.Equal(got, want) {
			t.Errorf("%s: %d, %q, want %q", path, w.Code, got, want)
		}
		// The form and the links keep what the address asks for.
		if !strings.Contains(w.Body.String(), "Show all") {
			t.Errorf("%s does not say how it was narrowed", path)
		}
	}
	for path, status := range map[string]int{
		"/due?stage=urgent": 400, "/due?ahead=x": 400, "/due?ahead=-1": 400, "/due?on=6.6.2031": 400, "/due?after=nowhere": 400, "/due?after=a&before=b": 400,
		"/standing?view=all": 400, "/standing?of=all": 400, "/vehicles?state=lost": 400, "/vehicles?silent=x": 400, "/due?vehicle=nobody": 404, "/due?on=2031-07-01": 422,
		"/due?q=" + strings.Repeat("x", 300): 400, "/due.csv?stage=x": 400, "/due.ics?ahead=x": 400,
	} {
		if w := as(t, h, "ines", path); w.Code != status || !strings.Contains(w.Body.String(), "<h1>") {
			t.Errorf("%.60s: %d, want %d", path, w.Code, status)
		}
	}
}

// Today is for each what their mail is.
func TestToday(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	for who, want := range map[string][]string{
		"ines":   {"Counts", "The worst first", "Safety"},
		"north":  {"Stop these first", "Overdue", "Soon", "Have ready", "Safety"},
		"tobias": {"Bus 7", "Safety"},
		"maud":   {"Mobile library", "Have ready", "Safety"},
		"abel":   {"Gritter 1", "Gritter 2"},
	} {
		got := texts(t, as(t, h, who, "/").Body.String(), func(n *html.Node) bool { return n.Data == "h2" })
		if !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", who, got, want)
		}
	}
	north := as(t, h, "north", "/").Body.String()
	for _, not := range []string{"Van 3", "Bus 10", "Bus 12"} { // of the south
		if strings.Contains(north, ">"+not+"<") {
			t.Errorf("the north's list has %s", not)
		}
	}
	for _, said := range []string{"Only: depot: north.", "18 L coolant"} {
		if !strings.Contains(north, said) {
			t.Errorf("the north's list lacks %q", said)
		}
	}
	// An owner reads in their own units.
	if body := as(t, h, "tobias", "/").Body.String(); !strings.Contains(body, "within 3,000 mi") || !strings.Contains(body, "Last reading:") {
		t.Errorf("Tobias reads\n%s", body)
	}
	facts := texts(t, as(t, h, "ines", "/").Body.String(), func(n *html.Node) bool { return n.Data == "dd" })
	want := []string{"19 vehicles.", "1 (no change since 5 Jun 2031).", "1 (no change since 5 Jun 2031).", "2 (no change since 5 Jun 2031).", "5 (1 more than on 5 Jun 2031).", "3 (no change since 5 Jun 2031)."}
	if len(facts) < len(want) || !reflect.DeepEqual(facts[:len(want)], want) {
		t.Errorf("the counts are %q", facts)
	}
}
