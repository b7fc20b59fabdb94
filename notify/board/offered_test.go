package board_test

import (
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
)

// mostOfAKind is how many pages of a kind a role is led to.
const mostOfAKind = 40

// TestOffered: what one may not do is not offered. Each link that a role is shown answers,
// and each form goes to a page that the role may send to.
func TestOffered(t *testing.T) {
	t.Parallel()
	f, h := signedIn(depots(t, true))
	sends := formsOf(f)
	for _, w := range whoDoes {
		from := []string{"/"}
		if rights.Allows(w.role, rights.See) {
			from = append(from, "/due?ahead=30")
		}
		if rights.Allows(w.role, rights.Reading) {
			from = append(from, "/v/bus-01/entered/e-"+w.role.String())
		}
		pages := crawlAs(t, h, w.who, mostOfAKind, from...)
		kinds := map[string]bool{}
		for _, c := range pages {
			kinds[c.like()] = true
			if c.status != http.StatusOK && c.status != http.StatusSeeOther {
				t.Errorf("%s is led to %s: %d", w.who, c.path, c.status)
			}
			for _, pattern := range sends(t, c) {
				if needs, ok := needed(f, pattern); !ok || !rights.Allows(w.role, needs) {
					t.Errorf("%s is shown at %s a form to %s", w.who, c.path, pattern)
				}
			}
		}
		for _, kind := range []string{"/rules", "/service", "/people", "/deliveries", "/v/…/events", "/files", "/due", "/v/…/handover", "/v/…/work", "/v/…/reading", "/v/…/sample"} {
			needs, ok := needed(f, "GET "+strings.Replace(kind, "…", "{vehicle}", 1))
			if !ok || kinds[kind] != rights.Allows(w.role, needs) {
				t.Errorf("%s is led to %s: %v", w.who, kind, kinds[kind])
			}
		}
	}
}

// needed is what a route needs.
func needed(f *frame.Frame, pattern string) (rights.Verb, bool) {
	for _, r := range routesOf(f) {
		if r.Pattern == pattern {
			return r.Needs, true
		}
	}
	return 0, false
}

// formsOf gives the routes to which a page's forms are sent.
func formsOf(f *frame.Frame) func(*testing.T, crawled) []string {
	mux := http.NewServeMux()
	for _, r := range routesOf(f) {
		mux.Handle(r.Pattern, http.NotFoundHandler())
	}
	return func(t *testing.T, c crawled) (out []string) {
		if !strings.HasPrefix(c.kind, "text/html") {
			return nil
		}
		root, err := html.Parse(strings.NewReader(c.body))
		if err != nil {
			t.Fatal(err)
		}
		here, err := url.Parse(c.path)
		if err != nil {
			t.Fatal(err)
		}
		for n := range root.Descendants() {
			at := map[string]string{}
			for _, a := range n.Attr {
				at[a.Key] = a.Val
			}
			if n.Data != "form" || at["method"] != "post" || at["action"] == "/sign-out" { // which is everybody's, and of the door
				continue
			}
			to, err := here.Parse(at["action"])
			if err != nil {
				t.Fatal(err)
			}
			_, pattern := mux.Handler(&http.Request{Method: http.MethodPost, URL: to})
			out = append(out, pattern)
		}
		return out
	}
}

// TestAnswersOffered: each role is offered the answers that it may give, and no other, on
// each page that shows what stands or is due.
func TestAnswersOffered(t *testing.T) {
	t.Parallel()
	_, h := signedIn(depots(t, true))
	link := regexp.MustCompile(`href="/v/bus-01/answer\?([^"]*)"`)
	for _, w := range whoDoes {
		got := map[string]bool{}
		for _, c := range crawlAs(t, h, w.who, mostOfAKind, "/", "/v/bus-01/answer?rule=iron+in+the+oil", "/v/bus-01/answer?rule=copper+in+the+oil", "/v/bus-01/answer") {
			for _, m := range link.FindAllStringSubmatch(c.body, -1) {
				q, err := url.ParseQuery(html.UnescapeString(m[1]))
				if err != nil {
					t.Fatal(err)
				}
				got[q.Get("answer")+" "+q.Get("rule")+q.Get("task")] = true
			}
		}
		for _, o := range []struct {
			answer, of string
			warning    bool
		}{{"acknowledge", "iron in the oil", true}, {"acknowledge", "copper in the oil", false}, {"shelve", "iron in the oil", true}, {"shelve", "copper in the oil", false},
			{"postpone", "engine oil", false}, {"out of service", "", false}, {"not mine", "", false}} {
			if may := rights.Allows(w.role, rights.OfAnswer(o.answer, o.warning)); got[o.answer+" "+o.of] != may {
				t.Errorf("%s is offered to %s %s: %v", w.who, o.answer, o.of, !may)
			}
		}
		for name := range got {
			if strings.Contains(name, "postpone safety") {
				t.Errorf("%s is offered to %s, which the law asks for", w.who, name)
			}
		}
	}
}

// masked is a page without what is of chance: the identity of its form.
var masked = regexp.MustCompile(`(name="form" value=")[^"]*"`)

// TestNothingOfAnothers: what a role is shown is the same to the byte whether or not there is
// another depot: no name, no count, no tag, no choice of a filter, no suggestion, no table
// and no calendar knows of it. What is asked of its vehicles is answered as what was never
// there.
func TestNothingOfAnothers(t *testing.T) {
	t.Parallel()
	_, with := signedIn(depots(t, true))
	_, without := signedIn(depots(t, false))
	from := []string{"/", "/due.csv", "/due.ics", "/standing.csv", "/vehicles.csv", "/labels", "/due/print", "/vehicles/print", "/standing/print", "/readings",
		"/vehicles?q=zyxw", "/vehicles?tag=depot%3Dzyxwdepot", "/vehicles?kind=zyxwkind", "/vehicles?person=pat", "/due?q=zyxw", "/due?vehicle=zyxw-9", "/due.csv?vehicle=zyxw-9", "/due?ahead=90",
		"/due?on=2031-09-01&tag=depot%3Dzyxwdepot", "/standing?vehicle=zyxw-9", "/standing?rule=iron+in+the+oil", "/enter?q=zyxw", "/v/zyxw-9", "/v/Zyxwname", "/v/ZYXW%20999", "/v/zyxw-stranger",
		"/v/zyxw-9/history.json", "/v/zyxw-9/entered/zyxw1", "/v/bus-01/entered/zyxw1", "/several/zyxw?v=zyxw-9", "/v/zyxw-9/samples/zyxwpart", "/v/zyxw-9/why/iron%20in%20the%20oil",
		"/due/job?line=" + url.QueryEscape("v=zyxw-9&r=engine oil"), "/standing/acknowledge?line=" + url.QueryEscape("v=zyxw-9&r=iron in the oil"), "/changes?of=zyxw-9",
		"/said", "/refused", "/deliveries", "/baselines", "/people?vehicle=zyxw-9", "/service"}
	for _, who := range []string{"look", "driver", "keeper", "workshop", tablet, "chief", "both", "nobody"} {
		a, b := crawlAs(t, with, who, mostOfAKind, from...), crawlAs(t, without, who, mostOfAKind, from...)
		if len(a) < 10 {
			t.Errorf("%s is shown %d pages", who, len(a))
		}
		at := map[string]crawled{}
		for _, c := range b {
			at[c.path] = c
		}
		for _, c := range a {
			o, ok := at[c.path]
			if x, y := masked.ReplaceAllString(c.body, "$1"), masked.ReplaceAllString(o.body, "$1"); !ok || o.status != c.status || x != y {
				t.Errorf("%s: what %s says of another depot: %v %d and %d\n%s", c.path, who, ok, c.status, o.status, differs(x, y))
			}
			if asked := strings.Contains(c.path, "zyxw") || strings.Contains(c.path, "Zyxw") || strings.Contains(c.path, "ZYXW"); !asked && strings.Contains(strings.ToLower(c.body), another) {
				t.Errorf("%s has a word of another depot for %s", c.path, who)
			}
		}
		if len(a) != len(b) {
			t.Errorf("%s is led to %d pages, and to %d without another depot", who, len(a), len(b))
		}
	}
}

// TestOfEachVehicle: who drives one vehicle and keeps another sees of each what is theirs: the
// work of the one that they keep, the meters of both.
func TestOfEachVehicle(t *testing.T) {
	t.Parallel()
	_, h := signedIn(depots(t, true))
	for _, path := range []string{"/due", "/due.csv", "/due?ahead=365", "/due/print", "/", "/standing?view=postponed", "/vehicles.csv"} {
		w := boardtest.GetAs(t, h, "both", path)
		if w.Code != http.StatusOK || strings.Contains(w.Body.String(), "engine oil") || strings.Contains(w.Body.String(), "inspection: bus-01") || path == "/due.csv" && strings.Contains(w.Body.String(), "bus-01") {
			t.Errorf("%s: %d %s", path, w.Code, w.Body.String())
		}
	}
	boardtest.Lacks(t, boardtest.GetAs(t, h, "both", "/due"), 200, "Van 2", "Safety inspection")
	boardtest.Lacks(t, boardtest.GetAs(t, h, "both", "/readings"), 200, "Bus 1", "Van 2")
	boardtest.Lacks(t, boardtest.GetAs(t, h, "both", "/standing"), 200, "Iron in the oil", "Standing (2)")
	boardtest.Lacks(t, boardtest.GetAs(t, h, "both", "/vehicles"), 200, "2 in service.")
	for path, want := range map[string]int{"/v/bus-01/history": 403, "/v/van-02/history": 200, "/v/bus-01/work": 403, "/v/van-02/work": 200, "/v/bus-01/reading": 200} {
		if w := boardtest.GetAs(t, h, "both", path); w.Code != want {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
	}
	for path, want := range map[string]int{"/service": 403, "/said": 403, "/v/bus-01/events": 403, "/v/bus-01/sample": 200, "/": 200} {
		if w := boardtest.GetAs(t, h, "chief", path); w.Code != want {
			t.Errorf("an operator of one depot at %s: %d, want %d", path, w.Code, want)
		}
	}
}

// differs is the first line in which two pages differ.
func differs(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return x[i] + "\n" + y[i]
		}
	}
	return "one is longer"
}

// TestNamesAlone: who is no operator is told nobody's address, on no page.
func TestNamesAlone(t *testing.T) {
	t.Parallel()
	_, h := signedIn(depots(t, true))
	for _, w := range whoDoes {
		found := slices.ContainsFunc(crawlAs(t, h, w.who, mostOfAKind, "/", "/people", "/v/bus-01/history.json", "/v/bus-01/history.csv"), func(c crawled) bool {
			return strings.Contains(c.body, "@larkfell.example") && !strings.HasPrefix(c.kind, "text/calendar")
		})
		if found && w.role != rights.Operator {
			t.Errorf("%s is told an address", w.who)
		}
	}
	boardtest.Lacks(t, boardtest.GetAs(t, h, "operator", "/people"), 200, "Dora Vint", "dora@larkfell.example",
		`north drivers Dora Vint driver vehicle.tags["depot"] == "north" see what stands, enter readings and take back own entries of the day`,
		"the office Ines Thornbeck operator all vehicles everything")
}
