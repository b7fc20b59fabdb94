package board_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/rules"
)

// divided is a fleet of two depots. Whatever is of the south is marked by a word that stands
// nowhere else; what north may know has none of them.
func divided(t *testing.T) (*boardtest.Fleet, http.Handler) {
	t.Helper()
	var events strings.Builder
	line := func(kind, id, subject, at, data string) {
		fmt.Fprintf(&events, `{"specversion":"1.0","type":"telltale.%s.v1","source":"/gateway/%s","id":"%s","subject":"%s","time":"%s","data":%s}`+"\n", kind, subject, id, subject, at, data)
	}
	for _, v := range []string{"bus-07", "zebrabus"} {
		note := map[string]string{"bus-07": "a north note", "zebrabus": "zebranote"}[v]
		for i := range 6 {
			line("reading", fmt.Sprint("r", i), v, fmt.Sprintf("2031-0%d-02T08:00:00Z", i+1), fmt.Sprintf(`{"meter":"odometer","value":%d,"unit":"km"}`, 100_000+9_000*i))
		}
		line("service", v+"-s1", v, "2031-02-03T08:00:00Z", `{"tasks":["oil change"],"component":"engine","by":"`+v+`-mechanic","note":"`+note+`"}`)
		for i, fe := range []int{20, 30, 400} {
			line("sample", fmt.Sprint(v, "-l", i), v, fmt.Sprintf("2031-0%d-10T08:00:00Z", i+2), fmt.Sprintf(`{"component":"engine","laboratory":"%s-lab","number":"%s-no-%d","revision":1,"results":[{"analyte":"Fe","value":%d,"unit":"mg/kg"}]}`, v, v, i, fe))
		}
	}
	f := boardtest.New(t, boardtest.Files{
		Rules: []rules.File{{Name: "rules/oil.yaml", Text: []byte(`book: 1
units: {distance: km}
tasks:
  oil change: {title: Change the oil, where: component.kind == "engine", every: {distance: 10000 km}, tolerance: 10%, unknown history: due, cautions: [hot fluid]}
rules:
  iron: {on: sample, measure: value("Fe"), above: {caution: 100, warning: 300}, say: 'Iron of ${component.name} in ${vehicle.name}', advise: {caution: Sample again., warning: Stop.}, cautions: none}
`)}},
		Vehicles: `vehicles:
  bus-07: {name: Bus 7, kind: minibus, zone: Europe/London, plate: NN 1, people: [nora], tags: {depot: north}, meters: {odometer: distance}, components: {engine: {kind: engine, fluid: 5W-30, capacity: 7 L}}}
  zebrabus: {name: Zebrabus, kind: zebrakind, zone: Europe/London, plate: ZEBRA 9, people: [zoe], tags: {depot: zebradepot}, meters: {odometer: distance}, components: {engine: {kind: engine, fluid: zebrafluid, capacity: 7 L}}}
`,
		People: `people:
  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London}
  nora: {name: Nora Thwaite, mail: nora@larkfell.example, zone: Europe/London}
  dan: {name: Dan Thwaite, mail: dan@larkfell.example, zone: Europe/London}
  lou: {name: Lou Thwaite, mail: lou@larkfell.example, zone: Europe/London}
  wes: {name: Wes Thwaite, mail: wes@larkfell.example, zone: Europe/London}
  mia: {name: Mia Thwaite, mail: mia@larkfell.example, zone: Europe/London}
  zoe: {name: Zoe Thwaite, mail: zebrazoe@larkfell.example, zone: Europe/London}
operator: [ines]
tell: {all: {who: [people of the vehicle]}}
rights:
  office: {who: [ines], may: operator}
  keepers: {who: [people of the vehicle], may: keeper}
  north drivers: {who: [dan], may: driver, where: 'vehicle.tags["depot"] == "north"'}
  north look: {who: [lou], may: look, where: 'vehicle.tags["depot"] == "north"'}
  mia looks: {who: [mia], may: look}
  mia keeps: {who: [mia], may: keeper, where: 'vehicle.tags["depot"] == "north"'}
  north workshop: {who: [wes], may: workshop, where: 'vehicle.tags["depot"] == "north"'}
`,
		Events: events.String(),
	})
	return f, board.Handler(f.WithDoor(boardtest.Doorman{Strong: time.Now()}))
}

// the north's people, who may all know bus-07 and nothing of the zebra's.
var northern = []string{"nora", "dan", "lou", "wes", boardtest.Tablet("north workshop")}

var addresses = regexp.MustCompile(`[a-z]+@larkfell\.example`)

var zebra = regexp.MustCompile(`(?i).{0,80}zebra.{0,60}`)

// signedInAs is the board as one person has it, for crawl.
func signedInAs(t *testing.T, h http.Handler, who string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got := boardtest.GetAs(t, h, who, r.URL.RequestURI())
		for k, v := range got.Header() {
			w.Header()[k] = v
		}
		w.WriteHeader(got.Code)
		_, _ = w.Write(got.Body.Bytes())
	})
}

// Whoever may know of some vehicles reads of no other on any page that can be reached, in
// no file, no count and no choice of a form.
func TestNothingOfOthers(t *testing.T) {
	_, h := divided(t)
	if all := boardtest.GetAs(t, h, "ines", "/due").Body.String(); !zebra.MatchString(all) || !strings.Contains(all, "Bus 7") {
		t.Fatalf("the operator's list lacks a vehicle:\n%s", all)
	}
	for _, who := range northern {
		seen := 0
		for _, c := range crawl(t, signedInAs(t, h, who), 4, "/", "/due", "/standing", "/vehicles", "/enter", "/more", "/v/bus-07") {
			if c.status == 200 {
				seen++
			}
			if c.status >= 500 {
				t.Errorf("%s, %s: %d", who, c.path, c.status)
			}
			if said := zebra.FindString(c.body + " " + c.path); said != "" {
				t.Errorf("%s reads at %s: %s", who, c.path, said)
			}
			for _, address := range addresses.FindAllString(c.body, -1) { // those of others are for who runs the service
				if address != who+"@larkfell.example" {
					t.Errorf("%s reads at %s the address %s", who, c.path, address)
				}
			}
		}
		if seen < 10 {
			t.Errorf("%s has %d pages", who, seen)
		}
	}
}

// others are addresses of what is not theirs, each with its twin of what nobody has.
func others() (out []string) {
	for _, below := range []string{"", "/why/iron", "/why/oil%20change", "/history", "/history.csv", "/history.json", "/handover", "/events", "/code.svg", "/samples/engine", "/samples/engine/zebrabus-no-2", "/samples/engine/zebrabus-no-2/chart.svg", "/samples/engine/zebrabus-no-2/made/Fe",
		"/reading", "/work", "/measure", "/sample", "/defect", "/replaced", "/answer?rule=iron&component=engine&answer=acknowledge", "/answer?task=oil%20change&component=engine&answer=postpone", "/service", "/out", "/entered/zebrabus-s1", "/entered/r5"} {
		out = append(out, "/v/zebrabus"+below)
	}
	return out
}

// What is somebody else's is as if it were not there: the same answer, word for word, as to
// what nobody has, whether it is looked at or something is sent to it.
func TestOthersAreNotThere(t *testing.T) {
	f, h := divided(t)
	before, err := f.Log.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	form := url.Values{"form": {"0123456789abcdef0123"}, "day": {"2031-06-06"}, "meter0": {"160000"}, "task": {"oil change"}, "why": {"x"}, "until": {"2031-06-10"}, "do": {"enter"}, "answer": {"acknowledge"}, "Fe": {"1"}, "number": {"9"}, "drawn": {"2031-06-05"}}
	for _, who := range append([]string{""}, northern...) {
		for _, path := range others() {
			none := asGnu.Replace(path)
			for method, ask := range map[string]func(string) *httptest.ResponseRecorder{
				"GET":  func(p string) *httptest.ResponseRecorder { return boardtest.GetAs(t, h, who, p) },
				"POST": func(p string) *httptest.ResponseRecorder { return boardtest.PostAs(t, h, who, p, form) },
			} {
				theirs, nobodys := ask(path), ask(none)
				want, got := asZebra.Replace(fmt.Sprint(nobodys.Code, nobodys.Header(), nobodys.Body)), fmt.Sprint(theirs.Code, theirs.Header(), theirs.Body)
				if want != got {
					t.Errorf("%q, %s %s: %d, and of nobody's %d:\n%.1500s\nwant\n%.1500s", who, method, path, theirs.Code, nobodys.Code, boardtest.Says(theirs), boardtest.Says(nobodys))
				}
				if theirs.Code == 200 || theirs.Code == 303 && who != "" {
					t.Errorf("%q, %s %s: %d to %s", who, method, path, theirs.Code, theirs.Header().Get("Location"))
				}
			}
		}
	}
	if after, err := f.Log.LastEvent(t.Context()); err != nil || after != before {
		t.Errorf("the log went from %d to %d (%v)", before, after, err)
	}
}

// A vehicle that stands behind the question mark or in a form is no more theirs than one in
// the address.
func TestOthersInForms(t *testing.T) {
	f, h := divided(t)
	alarms, err := service.Alarms.Of(t.Context(), f.Service, service.Question{})
	if err != nil || len(alarms) < 4 {
		t.Fatalf("%d alarms, %v", len(alarms), err)
	}
	z := url.QueryEscape("zebrabus")
	for _, who := range northern {
		for _, path := range []string{"/due?vehicle=" + z, "/due?q=zebra", "/due?tag=depot%3Dzebradepot", "/due?kind=zebrakind", "/due?person=zoe", "/due?ahead=90&vehicle=" + z, "/due.csv", "/due.csv?vehicle=" + z, "/due.ics", "/due/print?vehicle=" + z, "/due/job?vehicle=" + z + "&task=oil+change", "/due/job?v=" + z,
			"/due?ahead=365", "/due?on=2031-09-01", "/due.csv?ahead=365", "/due/print?ahead=365", "/standing.csv?view=standing", "/vehicles?state=silent", "/vehicles?state=waiting",
			"/standing?vehicle=" + z, "/standing?q=zebra", "/standing?view=postponed", "/standing?rule=iron", "/standing.csv", "/standing/print", "/standing/acknowledge?vehicle=" + z, "/vehicles?q=zebra", "/vehicles.csv", "/vehicles/print", "/labels", "/labels?q=zebra", "/several/0123456789abcdef0123?v=" + z, "/readings", "/readings?vehicle=" + z, "/enter?q=zebrabus", "/enter?q=ZEBRA+9", "/enter?vehicle=" + z,
			"/said", "/said?vehicle=" + z, "/said.csv", "/deliveries", "/refused", "/refused?vehicle=" + z, "/people", "/service", "/rules", "/rules/iron", "/rules/oil%20change", "/baselines", "/files", "/rules/try", "/rules/try?vehicle=" + z, "/rules/try?rule=iron", "/audit", "/audit.csv", "/words", "/me", "/more", "/"} {
			// nothing is said but what was typed, as of what nobody has
			w, none := boardtest.GetAs(t, h, who, path), boardtest.GetAs(t, h, who, asGnu.Replace(path))
			if got, want := madeAnew.ReplaceAllString(w.Body.String(), ""), madeAnew.ReplaceAllString(asZebra.Replace(none.Body.String()), ""); w.Code >= 500 || w.Code != none.Code || got != want || !strings.Contains(strings.ToLower(path), "zebra") && zebra.MatchString(got) {
				t.Errorf("%s at %s: %d\n%.1000s\nand of nobody's %d\n%.1000s", who, path, w.Code, boardtest.Says(w), none.Code, boardtest.Says(none))
			}
		}
		form := url.Values{"form": {"0123456789abcdef9999"}, "do": {"enter"}, "day": {"2031-06-06"}, "why": {"seen"}}
		for _, name := range []string{"vehicle", "v", "vehicles", "line", "lines", "pick", "tick", "one", "q", "key"} {
			for _, a := range alarms {
				form.Add(name, a.Vehicle)
				form.Add(name, a.Vehicle+" "+a.Component+" "+a.Rule)
				form.Add(name, a.Vehicle+"."+a.Component+"."+a.Rule)
			}
		}
		for _, path := range []string{"/standing/acknowledge", "/readings", "/rules/try", "/files"} {
			if w := boardtest.PostAs(t, h, who, path, form); w.Code >= 500 || zebra.MatchString(strings.ReplaceAll(boardtest.Says(w), "zebrabus", "")) {
				t.Errorf("%s, POST %s: %d\n%.800s", who, path, w.Code, boardtest.Says(w))
			}
		}
	}
	if err := f.Log.EachOf(t.Context(), "zebrabus", func(ev event.Event) error {
		if strings.HasPrefix(ev.ID.Source, "/people/") || strings.HasPrefix(ev.ID.Source, "/devices/") {
			t.Errorf("%s entered %s", ev.ID.Source, ev.ID.ID)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

var (
	// madeAnew is the identity of a form.
	madeAnew = regexp.MustCompile(`name="form" value="[0-9a-f]+"`)

	asGnu   = strings.NewReplacer("zebra", "zebrb", "Zebra", "Zebrb", "ZEBRA", "ZEBRB")
	asZebra = strings.NewReplacer("zebrb", "zebra", "Zebrb", "Zebra", "ZEBRB", "ZEBRA")
)

// What somebody may not do to a vehicle that they know is refused with the same words
// wherever it is tried, and done nowhere.
func TestVerbsByGuessing(t *testing.T) {
	f, h := divided(t)
	day := url.Values{"day": {"2031-06-06"}, "why": {"x"}, "do": {"enter"}}
	with := func(kv ...string) url.Values {
		v := url.Values{}
		for k, all := range day {
			v[k] = all
		}
		for i := 0; i+1 < len(kv); i += 2 {
			v.Set(kv[i], kv[i+1])
		}
		return v
	}
	line := url.Values{"v": {"bus-07"}, "r": {"iron"}, "c": {"engine"}}.Encode()
	theirs := url.Values{"v": {"zebrabus"}, "r": {"iron"}, "c": {"engine"}}.Encode()
	service := []string{"/rules/try", "/rules/try/x/stop", "/deliveries/x/again"}
	for who, paths := range map[string]map[string]url.Values{
		"lou": {"/v/bus-07/reading": with("meter0", "150000"), "/v/bus-07/work": with("task", "oil change"), "/v/bus-07/measure": with("m0", "3"), "/v/bus-07/replaced": with("meter", "odometer"), "/v/bus-07/sample": with("number", "9"),
			"/v/bus-07/answer?rule=iron&component=engine&answer=acknowledge": with(), "/v/bus-07/entered/bus-07-s1": with(), "/readings": with("v", "bus-07", "m0", "150000"), "/standing/acknowledge": with("line", line), "/files": with()},
		"dan": {"/v/bus-07/work": with("task", "oil change"), "/v/bus-07/replaced": with("meter", "odometer"), "/v/bus-07/sample": with("number", "9"),
			"/v/bus-07/answer?rule=iron&component=engine&answer=acknowledge": with(), "/standing/acknowledge": with("line", line), "/files": with()},
		"nora": {"/v/bus-07/sample": with("number", "9"), "/files": with()},
		"wes": {"/v/bus-07/answer?answer=out+of+service": with("until", "2031-06-10"), "/v/bus-07/answer?answer=in+service": with(), "/v/bus-07/answer?rule=iron&component=engine&answer=shelve": with("until", "2031-06-10"),
			"/v/bus-07/answer?answer=out+of+service&answer=acknowledge": with("until", "2031-06-10", "answer", "acknowledge")},
		"mia":                              {"/v/zebrabus/reading": with("meter0", "150000"), "/v/zebrabus/work": with("task", "oil change"), "/v/zebrabus/answer?rule=iron&component=engine&answer=acknowledge": with(), "/v/zebrabus/entered/zebrabus-s1": with()},
		boardtest.Tablet("north workshop"): {"/v/bus-07/answer?answer=out+of+service": with("until", "2031-06-10")},
	} {
		for _, path := range service {
			paths[path] = with("file", "x.yaml", "text", "book: 1")
		}
		for path, form := range paths {
			form.Set("form", "0123456789abcdef0123")
			w := boardtest.PostAs(t, h, who, path, form)
			if w.Code != 403 || strings.Contains(w.Body.String(), "2031-06-10") || strings.Contains(boardtest.Says(w), "larkfell") {
				t.Errorf("%s, %s: %d\n%.600s", who, path, w.Code, boardtest.Says(w))
			}
		}
	}
	// by a form of several vehicles
	for path, form := range map[string]url.Values{"/readings": with("v", "zebrabus", "m0", "150000"), "/standing/acknowledge": with("line", theirs)} {
		for _, who := range []string{"mia", "nora", "wes"} {
			form.Set("form", "0123456789abcdef0123")
			if w := boardtest.PostAs(t, h, who, path, form); w.Code != 403 && w.Code != 404 {
				t.Errorf("%s, %s: %d\n%.600s", who, path, w.Code, boardtest.Says(w))
			}
		}
	}
	for _, vehicle := range []string{"bus-07", "zebrabus"} {
		if err := f.Log.EachOf(t.Context(), vehicle, func(ev event.Event) error {
			if strings.HasPrefix(ev.ID.Source, "/people/") || strings.HasPrefix(ev.ID.Source, "/devices/") {
				t.Errorf("%s entered %s of %s", ev.ID.Source, ev.ID.ID, vehicle)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	}
}

// Nobody takes back what another entered, nor a driver what they entered before today; the
// source of an entry is whoever is signed in, whatever the form says.
func TestWhoEntered(t *testing.T) {
	f, h := divided(t)
	enter := func(who, form, value string) *httptest.ResponseRecorder {
		return boardtest.PostAs(t, h, who, "/v/bus-07/reading?source=/people/ines&by=ines&who=ines", url.Values{"form": {form}, "day": {"2031-06-06"}, "meter0": {value}, "source": {"/people/ines"}, "by": {"ines"}, "who": {"ines"}, "person": {"ines"}, "id": {"ines"}})
	}
	const mine, theirs = "0123456789abcdef0001", "0123456789abcdef0002"
	if w := enter("dan", mine, "145500"); w.Code != 303 {
		t.Fatalf("%d\n%s", w.Code, boardtest.Says(w))
	}
	if w := enter("nora", theirs, "145600"); w.Code != 303 {
		t.Fatalf("%d\n%s", w.Code, boardtest.Says(w))
	}
	for _, c := range []struct {
		who, id string
		want    int
	}{{"dan", theirs, 404}, {"nora", mine, 403}, {"wes", mine, 403}, {"dan", "bus-07-s1", 404}, {"nora", "bus-07-s1", 403}, {"dan", mine, 303}} {
		if w := boardtest.PostAs(t, h, c.who, "/v/bus-07/entered/"+c.id, url.Values{"source": {"/people/nora"}, "by": {"nora"}}); w.Code != c.want {
			t.Errorf("%s takes back %s: %d, want %d\n%.500s", c.who, c.id, w.Code, c.want, boardtest.Says(w))
		}
	}
	var sources []string
	if err := f.Log.EachOf(t.Context(), "bus-07", func(ev event.Event) error {
		if strings.HasPrefix(ev.ID.Source, "/people/") {
			sources = append(sources, ev.ID.Source)
		}
		return nil
	}); err != nil || strings.Join(sources, " ") != "/people/dan /people/nora /people/dan" {
		t.Errorf("entered by %q, %v", sources, err)
	}
}
