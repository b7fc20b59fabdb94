package lists_test

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"telltale/engine/alarm"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/rules"
)

// yard is a fleet of four vehicles, of which two had their meter read.
func yard() boardtest.Files {
	f := many(4)
	f.Vehicles = strings.Replace(f.Vehicles, "v-003:", "v-003-x:", 1) + "  v-003: {name: Trailer, kind: trailer, in service: 2028-01-01, zone: Europe/London}\n"
	f.Events = `{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"r1","subject":"v-000","time":"2031-06-01T09:00:00Z","data":{"meter":"odometer","value":41000,"unit":"km"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"r2","subject":"v-000","time":"2031-06-03T09:00:00Z","data":{"meter":"odometer","value":41100,"unit":"km"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"r3","subject":"v-001","time":"2031-06-02T09:00:00Z","data":{"meter":"odometer","value":52000,"unit":"km"}}
`
	return f
}

// hidden are the fields that a page's form sends beside what is typed.
func hidden(t *testing.T, body string) url.Values {
	t.Helper()
	v := url.Values{}
	texts(t, body, func(n *html.Node) bool {
		at := map[string]string{}
		for _, a := range n.Attr {
			at[a.Key] = a.Val
		}
		if n.Data == "input" && (at["type"] == "hidden" || at["name"] == "day") {
			v.Add(at["name"], at["value"])
		}
		return false
	})
	return v
}

func with(v url.Values, pairs ...string) url.Values {
	out := url.Values{}
	for name, all := range v {
		out[name] = slices.Clone(all)
	}
	for i := 0; i+1 < len(pairs); i += 2 {
		out.Set(pairs[i], pairs[i+1])
	}
	return out
}

// readingsOf are the last readings of the vehicles, as the page of them shows.
func lastRead(t *testing.T, f *boardtest.Fleet, vehicle string) (value float64, on string) {
	t.Helper()
	all, err := service.Vehicle.Of(t.Context(), f.Service, service.Question{Vehicle: vehicle})
	if err != nil || len(all) != 1 || len(all[0].Meters) != 1 {
		t.Fatalf("%s: %v (%v)", vehicle, all, err)
	}
	if m := all[0].Meters[0]; m.Read != nil {
		return m.Read.Value, m.ReadOn
	}
	return 0, ""
}

// A round through the yard: what is typed is looked at, asked back where it is doubtful,
// entered once, and can be taken back; a page that was refused keeps all of it.
func TestRound(t *testing.T) {
	f := boardtest.New(t, yard())
	h := board.Handler(f.Frame)
	page := as(t, h, "ines", "/readings").Body.String()
	if hints := texts(t, page, func(n *html.Node) bool { return n.Data == "p" && class(n, "hint") }); len(hints) < 3 || !strings.HasPrefix(hints[0], "Last 41,100 km on 3 Jun 2031") || !strings.HasPrefix(hints[1], "Last 52,000 km on 2 Jun 2031") || hints[2] != "Nobody has read it yet." {
		t.Errorf("the hints are %q", hints)
	}
	form := hidden(t, page)
	if !slices.Equal(form["v"], []string{"v-000", "v-001", "v-002", "v-003", "v-003-x"}) || form.Get("day") != "2031-06-06" {
		t.Fatalf("the form is %v", form)
	}
	post := func(v url.Values) (int, string, string) {
		w := boardtest.Post(t, h, "/readings", v)
		return w.Code, w.Header().Get("Location"), w.Body.String()
	}
	// Nothing typed, and what is no number.
	if code, _, body := post(form); code != 422 || !strings.Contains(body, "ype what the meter of one vehicle shows") {
		t.Errorf("nothing typed: %d", code)
	}
	code, _, body := post(with(form, "m0", "41,x", "m1", "52.100"))
	if code != 422 || !strings.Contains(body, `value="41,x"`) || !strings.Contains(body, `value="52.100"`) || !strings.Contains(body, `aria-invalid="true"`) || !strings.Contains(body, "Not entered yet") {
		t.Errorf("what is no number: %d\n%s", code, textIn(t, body))
	}
	// Looked at, nothing is stored.
	code, _, body = post(with(form, "m0", "41,300", "m1", "52,100", "do", "look"))
	if text := textIn(t, body); code != 200 || !strings.Contains(text, "What would follow Bus 0") || !strings.Contains(text, "Bus 1") {
		t.Errorf("looked at: %d, %s", code, text)
	}
	if v, _ := lastRead(t, f, "v-000"); v != 41100 {
		t.Errorf("looking stored %v", v)
	}
	// Going back is doubtful: asked back once, then meant.
	code, _, body = post(with(form, "m0", "41,300", "m1", "5,210", "do", "enter"))
	if code != 422 || !strings.Contains(textIn(t, body), "Enter them all the same") {
		t.Fatalf("a doubtful value: %d\n%s", code, textIn(t, body))
	}
	if v, _ := lastRead(t, f, "v-000"); v != 41100 {
		t.Errorf("a page that asks back stored %v", v)
	}
	code, to, body := post(with(hidden(t, body), "m0", "41,300", "m1", "52,100", "m2", "10 000", "do", "enter"))
	if code != http.StatusSeeOther {
		t.Fatalf("entered: %d\n%s", code, textIn(t, body))
	}
	for vehicle, want := range map[string]float64{"v-000": 41300, "v-001": 52100, "v-002": 10000} {
		if v, on := lastRead(t, f, vehicle); v != want || on != "2031-06-06" {
			t.Errorf("%s shows %v on %s, want %v", vehicle, v, on, want)
		}
	}
	after := textIn(t, as(t, h, "ines", to).Body.String())
	if !strings.Contains(after, "3 entries.") || !strings.Contains(after, "Bus 0") || !strings.Contains(after, "41,300 km") || !strings.Contains(after, "Bus 2") {
		t.Errorf("what was entered: %s", after)
	}
	sentAgain(t, f, form, to, after)
}

// sentAgain: a form that is sent again enters nothing twice; with something else in it, it
// is refused.
func sentAgain(t *testing.T, f *boardtest.Fleet, form url.Values, to, after string) {
	t.Helper()
	h, id := board.Handler(f.Frame), form.Get("form")
	post := func(v url.Values) (int, string, string) {
		w := boardtest.Post(t, h, "/readings", v)
		return w.Code, w.Header().Get("Location"), w.Body.String()
	}
	// Another process has it from the log.
	if anew := textIn(t, as(t, board.Handler(f.Frame), "ines", to).Body.String()); anew != after {
		t.Errorf("out of the log it is %s", anew)
	}
	// The same form again enters nothing twice; with something else in it, it is refused.
	again := with(form, "form", id, "m0", "41,300", "m1", "52,100", "m2", "10 000", "do", "enter")
	if code, where, _ := post(again); code != http.StatusSeeOther || where != to {
		t.Errorf("sent twice: %d to %s", code, where)
	}
	if n := entries(t, f, "v-000", id); n != 1 {
		t.Errorf("%d entries of one form", n)
	}
	if code, _, body := post(with(again, "m0", "41,400")); code != 409 || !strings.Contains(textIn(t, body), "entered already, with something else in it") {
		t.Errorf("changed and sent again: %d\n%s", code, textIn(t, body))
	}
	if code, _, _ := post(with(form, "m0", "41,500", "day", "2031-07-01")); code != 422 {
		t.Errorf("a day that has not come: %d", code)
	}
	if code, _, _ := post(url.Values{"v": slices.Repeat([]string{"v-000"}, 60), "m0": {"1"}}); code != 400 {
		t.Errorf("sixty vehicles: %d", code)
	}
	if code, _, _ := post(url.Values{"v": {"nobody"}, "m0": {"1"}}); code != 404 {
		t.Errorf("a vehicle that there is not: %d", code)
	}
}

// entries are those of a vehicle that a form made.
func entries(t *testing.T, f *boardtest.Fleet, vehicle, form string) int {
	t.Helper()
	all, err := service.Entries.Of(t.Context(), f.Service, service.Question{Vehicle: vehicle, ID: form})
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

// While the service does not answer, what was typed comes back, to be sent again.
func TestRoundKept(t *testing.T) {
	f := boardtest.New(t, yard())
	h := board.Handler(f.Frame)
	form := with(hidden(t, as(t, h, "ines", "/readings").Body.String()), "m0", "41,300", "do", "enter")
	if err := f.Service.Stop(); err != nil {
		t.Fatal(err)
	}
	if w := boardtest.Post(t, h, "/readings", form); w.Code != 503 || !strings.Contains(w.Body.String(), `value="41,300"`) {
		t.Errorf("%d\n%s", w.Code, textIn(t, w.Body.String()))
	}
}

// Several alarms of one rule are acknowledged at once, each under an identity of its own.
func TestAcknowledgeSeveral(t *testing.T) {
	files := yard()
	files.Rules = []rules.File{{Name: "rules/all.yaml", Text: []byte(book)}}
	files.Events = strings.NewReplacer("41100", "31100").Replace(files.Events) + strings.NewReplacer("v-000", "v-002", "r1", "r4", "r2", "r5", "r3", "r6", "v-001", "v-003-x", "41100", "31100").Replace(files.Events)
	f := boardtest.New(t, files)
	h := board.Handler(f.Frame)
	page := as(t, h, "ines", "/standing").Body.String()
	var ticks []string
	texts(t, page, func(n *html.Node) bool {
		for _, a := range n.Attr {
			if n.Data == "input" && a.Key == "value" && strings.Contains(a.Val, "going+back") {
				ticks = append(ticks, a.Val)
			}
		}
		return false
	})
	if len(ticks) < 2 || !strings.Contains(page, `action="/standing/acknowledge"`) {
		t.Fatalf("%d alarms to tick:\n%s", len(ticks), textIn(t, page))
	}
	if body := as(t, h, "north", "/standing").Body.String(); strings.Contains(body, "/standing/acknowledge") || strings.Contains(body, `name="line"`) {
		t.Error("one who is no operator can acknowledge several at once")
	}
	form := as(t, h, "ines", "/standing/acknowledge?"+url.Values{"line": ticks}.Encode()).Body.String()
	if text := textIn(t, form); !strings.Contains(text, "Acknowledge 2 alarms Meter going back. Bus 0 Bus 2") {
		t.Errorf("the form says %s", text)
	}
	v := with(hidden(t, form), "why", "the gateway was replaced")
	w := boardtest.Post(t, h, "/standing/acknowledge", v)
	if w.Code != http.StatusSeeOther {
		t.Fatalf("acknowledged: %d\n%s", w.Code, textIn(t, w.Body.String()))
	}
	if after := textIn(t, as(t, h, "ines", w.Header().Get("Location")).Body.String()); !strings.Contains(after, "2 entries.") {
		t.Errorf("what was entered: %s", after)
	}
	all, err := service.Alarms.Of(t.Context(), f.Service, service.Question{})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, a := range all {
		if strings.Contains(a.Rule, "going back") && a.Standing == alarm.Acknowledged {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%d alarms are acknowledged", n)
	}
	if w := boardtest.Post(t, h, "/standing/acknowledge", v); w.Code != http.StatusSeeOther {
		t.Errorf("sent twice: %d\n%s", w.Code, textIn(t, w.Body.String()))
	}
	v.Set("form", strings.Repeat("a", 20))
	if w := boardtest.Post(t, h, "/standing/acknowledge", v); w.Code != 422 || !strings.Contains(w.Body.String(), "acknowledged already") {
		t.Errorf("acknowledged anew: %d\n%s", w.Code, textIn(t, w.Body.String()))
	}
}
