package lists_test

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/net/html"

	"telltale/engine/stream/jet"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/wording"
	"telltale/rules"
)

const book = `book: 1
tasks:
  engine oil:
    every: {time: 12 months}
    needs: [{fluid: 5W-30, volume: 7 L}]
  annual test:
    statutory: true
    every: {time: 12 months}
`

const persons = "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London, list: operator}\n" +
	"  north: {name: North workshop, mail: north@larkfell.example, zone: Europe/London}\n  maud: {name: Maud Eskerly, mail: maud@larkfell.example, zone: Europe/London, list: owner}\n" +
	"operator: [ines]\ntell: {all: {who: [ines, north], when: digest}}\n"

// many is a fleet of so many vehicles, on each of which two tasks were done on days that
// differ.
func many(n int) boardtest.Files {
	f := boardtest.Files{Rules: []rules.File{{Name: "rules/all.yaml", Text: []byte(book)}}, People: persons}
	var v, e strings.Builder
	v.WriteString("vehicles:\n")
	for i := range n {
		fmt.Fprintf(&v, "  v-%03d: {name: Bus %d, kind: minibus, tags: {depot: %s}, in service: 2028-01-01, zone: Europe/London, meters: {odometer: distance}}\n", i, i, []string{"north", "south"}[i%2])
		for k, task := range []string{"engine oil", "annual test"} {
			day := fmt.Sprintf("2030-%02d-%02d", 3+(i+k)%4, 1+i%28)
			fmt.Fprintf(&e, `{"specversion":"1.0","type":"telltale.service.v1","source":"/test","id":"%d-%d","subject":"v-%03d","time":"%sT09:00:00Z","data":{"tasks":[%q]}}`+"\n", i, k, i, day, task)
		}
	}
	f.Vehicles, f.Events = v.String(), e.String()
	return f
}

// The pages of a list, one behind the other, are the whole list, each line once and in the
// service's order; and back again.
func TestPaging(t *testing.T) {
	f := boardtest.New(t, many(90))
	h := board.Handler(f.Frame)
	p := wording.Reader{Person: f.People().Person("north")}
	for path, q := range map[string]service.Question{"/due": {}, "/due?ahead=7&tag=depot%3Dnorth": {Ahead: 7, Tag: "depot=north"}} {
		work, err := service.Due.Of(t.Context(), f.Service, q)
		if err != nil || len(work) < 70 {
			t.Fatalf("%d lines (%v)", len(work), err)
		}
		var want []string
		for i := range work {
			want = append(want, work[i].Name+" · "+p.Work(p.SaidOf(&work[i]), "2031-06-06").What)
		}
		var got, firsts []string
		body := ""
		for at := path; at != ""; {
			w := as(t, h, "north", at)
			if body = w.Body.String(); w.Code != http.StatusOK || w.Body.Len() > most {
				t.Fatalf("%s: %d, %d bytes", at, w.Code, w.Body.Len())
			}
			rows := texts(t, body, func(n *html.Node) bool { return n.Data == "p" && class(n.Parent, "what") })
			if len(rows) > 50 {
				t.Errorf("%d lines on a page", len(rows))
			}
			got, firsts = append(got, rows...), append(firsts, rows[0])
			at = link(t, body, "next")
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: the pages have %d lines, want %d in this order:\n%s\ngot\n%s", path, len(got), len(want), strings.Join(want, "\n"), strings.Join(got, "\n"))
		}
		slices.Reverse(firsts)
		for _, first := range firsts[1:] {
			at := link(t, body, "prev")
			body = as(t, h, "north", at).Body.String()
			if rows := texts(t, body, func(n *html.Node) bool { return n.Data == "p" && class(n.Parent, "what") }); len(rows) == 0 || rows[0] != first {
				t.Errorf("going back from %s begins with %q, want %q", path, rows, first)
			}
		}
		if at := link(t, body, "prev"); at != "" {
			t.Errorf("the first page of %s leads back to %s", path, at)
		}
	}
	vehicles := 0
	for at := "/vehicles"; at != ""; {
		body := as(t, h, "north", at).Body.String()
		vehicles += len(texts(t, body, func(n *html.Node) bool { return n.Data == "a" && class(n, "strong") }))
		at = link(t, body, "next")
	}
	if vehicles != 90 {
		t.Errorf("%d vehicles, want 90", vehicles)
	}
}

// link is where the page leads, by the link's rel.
func link(t *testing.T, body, rel string) (to string) {
	t.Helper()
	texts(t, body, func(n *html.Node) bool {
		is := slices.ContainsFunc(n.Attr, func(a html.Attribute) bool { return a.Key == "rel" && a.Val == rel })
		for _, a := range n.Attr {
			if is && a.Key == "href" {
				to = a.Val
			}
		}
		return false
	})
	return to
}

// A list without lines says why, and what to do; it never stands empty.
func TestNothing(t *testing.T) {
	whole := many(4)
	noRules, noVehicles, nobody, done := whole, whole, whole, whole
	noRules.Rules = nil
	noVehicles.Vehicles, noVehicles.Events = "", ""
	nobody.People = ""
	done.Events = strings.NewReplacer("2030-03", "2031-03", "2030-04", "2031-04", "2030-05", "2031-05", "2030-06", "2031-05").Replace(done.Events)
	for name, c := range map[string]struct {
		boardtest.Files
		says map[string]string // by page
	}{
		"no rules": {noRules, map[string]string{"/": "No rules are in force", "/due": "No rules are in force", "/standing": "No rules are in force", "/due/print": "No rules are in force"}},
		"no vehicles": {noVehicles, map[string]string{"/": "No vehicle is registered yet.", "/due": "No vehicle is registered yet.", "/standing": "No vehicle is registered yet.",
			"/vehicles": "vehicles.yaml", "/vehicles/print": "No vehicle is registered yet.", "/labels": "No vehicle is registered yet.", "/readings": "No vehicle is registered yet."}},
		"nobody": {nobody, map[string]string{"/": "overdue"}},
		"all is done": {done, map[string]string{"/due": "Nothing is due, and no alarm is active.", "/standing": "No alarm stands.", "/": "Nothing is to be stopped, overdue, to look at or due.",
			"/standing?view=aside": "Nothing is put aside.", "/standing?view=postponed": "No work is postponed."}},
		"nothing matches": {whole, map[string]string{"/due?q=zeppelin": "Nothing here matches", "/standing?q=zeppelin": "Nothing here matches", "/vehicles?q=zeppelin": "Nothing here matches",
			"/readings?q=zeppelin": "Nothing here matches", "/due/print?q=zeppelin": "Nothing here matches"}},
	} {
		h := board.Handler(boardtest.New(t, c.Files).Frame)
		for path, want := range c.says {
			if w := as(t, h, "ines", path); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), want) {
				t.Errorf("%s: %s (%d) lacks %q:\n%s", name, path, w.Code, want, textIn(t, w.Body.String()))
			}
		}
	}
	if w := as(t, board.Handler(boardtest.New(t, whole).Frame), "maud", "/"); !strings.Contains(w.Body.String(), "No vehicle is registered as yours.") {
		t.Errorf("somebody who keeps no vehicle reads\n%s", textIn(t, w.Body.String()))
	}
}

func textIn(t *testing.T, body string) string {
	return strings.Join(texts(t, body, func(n *html.Node) bool { return n.Data == "main" }), "")
}

// haunted is the fleet folded by a service that shares the partitions with one that lives
// and answers nothing.
func haunted(t *testing.T, f *boardtest.Fleet) {
	t.Helper()
	f.Service.Stop()
	ctx, cancel := context.WithCancel(context.Background())
	kv, err := f.Log.JS.CreateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: "OWNERS", Storage: jetstream.FileStorage, TTL: 2 * time.Second, LimitMarkerTTL: 2 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	var ghost sync.WaitGroup
	ghost.Go(func() {
		for ; ctx.Err() == nil; jet.Rest(ctx, time.Second/2) {
			_, _ = kv.Put(ctx, "here.ghost", []byte("x")) // the context may be over
		}
	})
	svc, err := service.Start(ctx, f.Log, service.Config{Program: "test", ClockFollowsEvents: true, Share: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { svc.Stop(); cancel(); ghost.Wait() })
	if err := svc.Settled(ctx); err != nil {
		t.Fatal(err)
	}
	f.Service = svc
}

// Where partitions do not answer, each page says that it lacks their vehicles, and a file
// is not made at all.
func TestPartitionsMissing(t *testing.T) {
	f := boardtest.New(t, many(4))
	haunted(t, f)
	h := board.Handler(f.Frame)
	for path, status := range map[string]int{"/due": 200, "/due/print": 200, "/standing": 200, "/vehicles": 200, "/": 200, "/due.csv": 503, "/vehicles.csv": 503, "/due.ics": 503} {
		t.Run(strings.Trim(path, "/"), func(t *testing.T) {
			t.Parallel()
			began := time.Now()
			w := as(t, h, "ines", path)
			if text := textIn(t, w.Body.String()); w.Code != status || !strings.Contains(text, "did not answer in time") || strings.Contains(text, "Nothing is due") {
				t.Errorf("%d:\n%s", w.Code, text)
			}
			if took := time.Since(began); took > 5*time.Second { // each question waits 2 s for them
				t.Errorf("it took %v", took)
			}
		})
	}
}

// Ticked lines of one vehicle open its form of work; lines of several ask which.
func TestTicked(t *testing.T) {
	h := board.Handler(boardtest.Sample(t).Frame)
	line := func(v, r, c string) string { return url.Values{"v": {v}, "r": {r}, "c": {c}}.Encode() }
	ask := func(path string, lines ...string) (int, string, string) {
		w := as(t, h, "ines", path+"?"+url.Values{"line": lines}.Encode())
		return w.Code, w.Header().Get("Location"), textIn(t, w.Body.String())
	}
	code, to, _ := ask("/due/job", line("van-03", "annual test", ""), line("van-03", "meter comparison", ""))
	if code != http.StatusSeeOther || to != "/v/van-03/work?task=annual+test&task=meter+comparison" {
		t.Errorf("two lines of one vehicle: %d to %s", code, to)
	}
	if _, to, _ := ask("/due/job", line("bus-02", "coolant", "cooling")); to != "/v/bus-02/work?component=cooling&task=coolant" {
		t.Errorf("a line of a component: to %s", to)
	}
	if _, to, _ := ask("/due/job", line("b", "oil", "front"), line("b", "oil", "rear")); to != "/v/b/work?task=oil%40front&task=oil%40rear" {
		t.Errorf("a task of two components: to %s", to)
	}
	if code, _, text := ask("/due/job", line("van-03", "annual test", ""), line("bus-02", "coolant", "cooling")); code != 200 || !strings.Contains(text, "van-03, 1 line bus-02, 1 line") {
		t.Errorf("lines of two vehicles: %d, %s", code, text)
	}
	if code, _, text := ask("/due/job"); code != 200 || !strings.Contains(text, "No line was ticked") {
		t.Errorf("no line: %d, %s", code, text)
	}
	if code, _, _ := ask("/due/job", "nothing"); code != 400 {
		t.Errorf("what is no line: %d", code)
	}
	if code, _, text := ask("/standing/acknowledge", line("bus-05", "silicon without dirt", "transmission"), line("bus-03", "bronze in the fluid", "transmission")); code != 200 || !strings.Contains(text, "Which rule?") {
		t.Errorf("alarms of two rules: %d, %s", code, text)
	}
}
