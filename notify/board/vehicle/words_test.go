package vehicle

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/people"
	"telltale/rules"
)

// aVan is what came in of a van, and of one that nobody registered.
var aVan = strings.Join([]string{
	cloud("reading", "a", "/gateway", "van-1", "2031-05-01T08:00:00Z", `{"meter":"odometer","value":40000,"unit":"km"}`),
	cloud("reading", "b", "/gateway", "van-1", "2031-05-08T08:00:00Z", `{"meter":"odometer","value":40420,"unit":"km"}`),
	cloud("reading", "c", "/gateway", "van-1", "2031-05-15T08:00:00Z", `{"meter":"odometer","value":40830,"unit":"km"}`),
	cloud("reading", "d", "/gateway", "van-1", "2031-05-22T08:00:00Z", `{"meter":"odometer","value":4126,"unit":"km"}`),
	cloud("service", "w", "/people/ines", "van-1", "2031-05-15T09:00:00Z", `{"tasks":["wash"],"note":"<b>wet</b>"}`),
	cloud("service", "mistake", "/people/ines", "van-1", "2031-05-16T09:00:00Z", `{"tasks":["wash"],"note":"another van"}`),
	cloud("void", "v", "/people/ines", "van-1", "2031-05-16T10:00:00Z", `{"source":"/people/ines","id":"mistake"}`),
	cloud("answer", "s", "/people/ines", "van-1", "2031-05-23T08:00:00Z", `{"answer":"shelve","rule":"oil","until":"2031-07-01T08:00:00Z","by":"ines","why":"ordered"}`),
	cloud("reading", "x", "/gateway", "stranger", "2031-05-22T08:00:00Z", `{"meter":"odometer","value":10,"unit":"km"}`),
}, "\n")

// pageCases are pages of the van's fleet: who looks, and what is on them, or not.
var pageCases = []struct {
	path   string
	who    string
	status int
	want   []string
	not    []string
}{
	{"/v/van-1", "", 200, []string{"<h1>Van 1</h1>", "van, van-1, in service since 1 May 2030", "Meter going back", "It was replaced", "/v/van-1/replaced", "answer?answer=accept",
		"not read yet", "It has gone back, and nobody has said why", "In doubt", "Look at the instrument. If it was replaced", "&lt;b&gt;wet&lt;/b&gt;", "This is not my vehicle",
		"/v/van-1/work?task=oil", "Put aside until 1 Jul 2031.", "answer=unshelve&rule=oil"}, []string{"telltale ", "For the operator"}},
	{"/v/van-1", "olga", 200, []string{"For the operator", "Its people: Ines Thornbeck (ines).", "kind: van"}, []string{"This is not my vehicle"}},
	{"/v/old-1", "olga", 200, []string{"It is retired: nothing is judged any more.", "No work is kept for it."}, []string{"Nothing is due now", "Enter work"}},
	{"/v/stranger", "", 404, []string{"Nobody has registered this vehicle."}, nil},
	{"/v/nothing", "", 404, []string{"There is nothing here."}, nil},
	{"/v/van-1/why/oil", "", 200, []string{"Why: Change the oil", "every 10,000 km", "Postpone", "Enter it", "Bring back", "Due, put aside."}, nil},
	{"/v/van-1/why/nothing", "", 404, []string{"Nothing of that name is kept for this vehicle."}, nil},
	{"/v/van-1/why/data:%20meter%20going%20back", "", 200, []string{"Watch, unacknowledged.", "Acknowledge"}, []string{"What the rules say of it"}},
	{"/v/van-1/history", "", 200, []string{"/v/van-1/entered/w", "&lt;b&gt;wet&lt;/b&gt;", "Doubted: The odometer reads 4,126 km", `<span class="gone">Wash: another van</span>`, "Taken out later"}, []string{"/v/van-1/entered/a", "/v/van-1/entered/mistake"}},
	{"/v/van-1/history?what=readings", "", 200, []string{"Odometer 4,126 km"}, []string{"wet"}},
	{"/v/van-1/history?what=samples", "", 200, []string{"There is nothing of this kind."}, nil},
	{"/v/van-1/history?source=%2Fgateway&id=a", "olga", 200, []string{"Odometer 40,000 km", "/v/van-1/entered/a", "Show all of the history"}, []string{"Odometer 40,420 km"}},
	{"/v/van-1/handover", "", 200, []string{"Work done", "15 May 2031", "&lt;b&gt;wet&lt;/b&gt;"}, nil},
	{"/v/van-1/events", "", 403, []string{"This is not yours to see."}, nil},
	{"/v/van-1/events", "olga", 200, []string{"/gateway a", "4126"}, nil},
	{"/v/van-1/history.csv", "", 200, []string{"date,time,vehicle,what", "wet"}, nil},
}

// TestWords: what a page says in each case.
func TestWords(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{
		Vehicles: "vehicles:\n  van-1: {name: Van 1, kind: van, people: [ines], in service: 2030-05-01, meters: {odometer: distance, winch: hours}}\n  old-1: {name: Old One, kind: van, retired: yes}\n",
		People:   aPeople, Rules: aBook, Events: aVan,
	})
	h := f.Handler(Pages(f.Frame)...)
	for _, c := range pageCases {
		r := httptest.NewRequest("GET", "http://127.0.0.1:4280"+c.path, nil)
		who := c.who
		if who == "" {
			who = "ines"
		}
		r.AddCookie(&http.Cookie{Name: "telltale-who", Value: who})
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		body := strings.ReplaceAll(w.Body.String(), "&amp;", "&")
		if w.Code != c.status {
			t.Errorf("%s: %d, want %d", c.path, w.Code, c.status)
		}
		for _, s := range c.want {
			if !strings.Contains(body, s) && !strings.Contains(w.Body.String(), s) {
				t.Errorf("%s lacks %q", c.path, s)
			}
		}
		for _, s := range c.not {
			if strings.Contains(body, s) {
				t.Errorf("%s has %q", c.path, s)
			}
		}
	}
}

const aPeople = "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London, digest: '30 6 * * 1-6', list: owner}\n" +
	"  olga: {name: Olga Fell, mail: olga@larkfell.example, zone: Europe/London}\noperator: [olga]\n"

var aBook = []rules.File{{Name: "rules.yaml", Text: []byte(`
book: 1
units: {distance: km, volume: L}
tasks:
  oil: {title: Change the oil, every: {distance: 10000 km}, early: {distance: 1000 km}, cautions: [hot fluid]}
  wash: {every: {time: 1 months}, early: {time: 7 days}, unknown history: from in-service date, cautions: none}
`)}}

func cloud(kind, id, source, vehicle, at, data string) string {
	return fmt.Sprintf(`{"specversion":"1.0","type":"telltale.%s.v1","id":%q,"source":%q,"subject":%q,"time":%q,"data":%s}`, kind, id, source, vehicle, at, data)
}

// TestSeveralComponents: a rule that is kept for several components tells of each, and of one
// alone where it is named.
func TestSeveralComponents(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{
		Vehicles: "vehicles:\n  van-1: {name: Van 1, kind: van, components: {front axle: {kind: axle}, rear axle: {kind: axle}}}\n",
		People:   aPeople, Rules: []rules.File{{Name: "rules.yaml", Text: []byte(`
book: 1
tasks:
  axle oil: {where: component.kind == "axle", every: {time: 12 months}, cautions: none}
`)}},
		Events: cloud("reading", "a", "/gateway", "van-1", "2031-05-01T08:00:00Z", `{"meter":"odometer","value":40000,"unit":"km"}`),
	})
	h := f.Handler(Pages(f.Frame)...)
	both := boardtest.Get(t, h, "/v/van-1/why/axle%20oil").Body.String()
	one := boardtest.Get(t, h, "/v/van-1/why/axle%20oil?component=rear+axle").Body.String()
	for _, s := range []string{"It is kept for 2 components of this vehicle.", "Front axle: axle oil", "Rear axle: axle oil", "component=front&#43;axle"} {
		if !strings.Contains(both, s) {
			t.Errorf("the page of both lacks %q", s)
		}
	}
	if !strings.Contains(one, "Rear axle: axle oil") || strings.Contains(one, "Front axle") {
		t.Errorf("the page of one is\n%s", one)
	}
}

// TestWithoutRules: a fleet without rules has its vehicles and their meters, and says that
// nothing is judged.
func TestWithoutRules(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{People: aPeople, Vehicles: "vehicles:\n  van-1: {name: Van 1, kind: van, meters: {odometer: distance}}\n",
		Events: cloud("reading", "a", "/gateway", "van-1", "2031-05-01T08:00:00Z", `{"meter":"odometer","value":40000,"unit":"km"}`)})
	w := boardtest.Get(t, f.Handler(Pages(f.Frame)...), "/v/van-1")
	for _, s := range []string{wordNoRules, "40,000 km", "1 May 2031"} {
		if !strings.Contains(w.Body.String(), s) {
			t.Errorf("%d: the page lacks %q", w.Code, s)
		}
	}
}

// TestNoAnswer: where the vehicle's partition does not answer, the page says so, and not
// that there is nothing.
func TestNoAnswer(t *testing.T) {
	f := boardtest.Sample(t)
	var fault *frame.Fault
	err := site{f.Frame}.known(t.Context(), "bus-07", 0, &service.Incomplete{Partitions: []int{3}})
	if !errors.As(err, &fault) || fault.Status != 503 || fault.Title != wordNoAnswer {
		t.Errorf("got %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := (site{f.Frame}).ask(ctx, aRequest("bus-07")); err != nil {
		t.Log(err) // answered at once or not at all, never as a vehicle that is not there
	}
}

func aRequest(vehicle string) *frame.Request {
	r := httptest.NewRequest("GET", "/v/"+vehicle, nil)
	r.SetPathValue("vehicle", vehicle)
	return &frame.Request{Request: r, Viewer: frame.Viewer{Person: people.Anyone("x")}, Now: boardtest.Morning}
}
