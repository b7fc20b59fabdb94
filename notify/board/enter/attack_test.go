package enter_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/enter"
	"telltale/notify/board/entry"
	"telltale/rules"
)

const twoMeters = `vehicles:
  van-3:
    name: Van 3
    kind: van
    zone: Europe/London
    meters: {odometer: distance, engine hours: hours}
    components:
      engine: {kind: engine, fluid: 5W-30, capacity: 7 L}
`

// two is a van with two meters; its pages forget at once what they entered, as after a
// restart, where forget is called.
func two(t *testing.T) (b board, forget func()) {
	t.Helper()
	f := boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "van.yaml", Text: []byte(book)}}, Vehicles: twoMeters, People: persons,
		Events: `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway/3","id":"r1","subject":"van-3","time":"2031-01-06T08:00:00Z","data":{"meter":"odometer","value":120000,"unit":"km"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway/3","id":"r2","subject":"van-3","time":"2031-06-02T08:00:00Z","data":{"meter":"odometer","value":129500,"unit":"km"}}
{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway/4","id":"r2","subject":"van-3","time":"2031-06-03T08:00:00Z","data":{"meter":"odometer","value":129600,"unit":"km"}}
`})
	e := entry.New(f.Frame)
	h := f.Handler(append(enter.Routes(e), e.Routes()...)...)
	return board{f, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { h.ServeHTTP(w, r) }), t}, func() {
		e := entry.New(f.Frame)
		h = f.Handler(append(enter.Routes(e), e.Routes()...)...)
	}
}

// standing are the readings of the van whose identity begins so, and whether they count, by
// source and identity.
func (b board) standing(id string) (out map[string]bool) {
	b.t.Helper()
	list, err := service.Entries.Of(b.t.Context(), b.Service, service.Question{Vehicle: "van-3", ID: id})
	if err != nil {
		b.t.Fatal(err)
	}
	out = map[string]bool{}
	for _, e := range list {
		ev, err := intake.Decode(e.Event)
		if err != nil {
			b.t.Fatal(err)
		}
		if ev.Kind == event.ReadingEvent {
			out[ev.ID.Source+" "+ev.ID.ID] = !e.TakenOut
		}
	}
	return out
}

// A form of which two tabs send one value and two is not entered twice.
func TestOneFormOneAndTwoValues(t *testing.T) {
	b, _ := two(t)
	p := b.get("/v/van-3/reading")
	one, both := "day=2031-06-06&meter0=129800", "day=2031-06-06&meter0=129900&meter1=3"
	if !strings.Contains(p.text, `name="meter1"`) {
		t.Fatal("the van has no second meter")
	}
	if strings.Index(p.text, "Engine hours") < strings.Index(p.text, "Odometer") {
		one, both = "day=2031-06-06&meter1=129800", "day=2031-06-06&meter1=129900&meter0=3"
	}
	if first := b.send("/v/van-3/reading", p, one); first.code != 303 {
		t.Fatalf("%d\n%s", first.code, main(first.text))
	}
	back := b.send("/v/van-3/reading", p, both)
	b.want(back, 422, "129,900 km after 129,800 km")
	b.want(b.send("/v/van-3/reading", back, both), 409, "This form was entered already, with something else in it: odometer 129,800 km")
	if n := len(b.entries(p.id)); n != 1 {
		t.Errorf("entered are %d", n)
	}
	q, both := b.get("/v/van-3/reading"), strings.Replace(both, "129900", "129810", 1)
	if first := b.send("/v/van-3/reading", q, both); first.code != 303 {
		t.Fatalf("%d\n%s", first.code, main(first.text))
	}
	b.want(b.send("/v/van-3/reading", q, one), 409, "This form was entered already, with something else in it")
	if n := len(b.entries(q.id)); n != 2 {
		t.Errorf("entered are %d", n)
	}
}

// Whoever knows the identity of another's form neither takes that one's entry back by an
// entry of their own of that name, nor hides it.
func TestAnothersForm(t *testing.T) {
	for _, restarted := range []bool{false, true} {
		b, forget := two(t)
		const id = "0123456789abcdef0123"
		form := func(v ...string) url.Values {
			out := url.Values{"form": {id}, "day": {"2031-06-06"}}
			for i := 0; i+1 < len(v); i += 2 {
				out.Set(v[i], v[i+1])
			}
			return out
		}
		hours, km := "meter0", "meter1"
		if p := b.get("/v/van-3/reading"); strings.Index(p.text, "Engine hours") > strings.Index(p.text, "Odometer") {
			hours, km = km, hours
		}
		if p := b.as("ines", "POST", "/v/van-3/reading", form(km, "129800", hours, "3")); p.code != 303 {
			t.Fatalf("%d\n%s", p.code, main(p.text))
		}
		if p := b.as("tobias", "POST", "/v/van-3/reading", form(km, "129800")); p.code != 303 {
			t.Fatalf("%d\n%s", p.code, main(p.text))
		}
		if restarted {
			forget()
		}
		b.want(b.as("ines", "GET", "/v/van-3/entered/"+id, nil), 200, "3 h")
		if p := b.as("tobias", "POST", "/v/van-3/entered/"+id, nil); p.code != 303 {
			t.Fatalf("%d\n%s", p.code, main(p.text))
		}
		for name, stands := range b.standing(id) {
			if strings.HasPrefix(name, "/people/tobias") == stands {
				t.Errorf("restarted %v: %s stands: %v", restarted, name, stands)
			}
		}
	}
}

// Two gateways number as they like: an operator who takes one reading back leaves the
// other's of the same number alone, and says so of the one that is gone.
func TestTakesOneOfTwoBack(t *testing.T) {
	b, _ := two(t)
	p := b.get("/v/van-3/entered/r2")
	if to := b.send("/v/van-3/entered/r2", p, ""); to.code != 303 {
		t.Fatalf("%d\n%s", to.code, main(to.text))
	}
	gone := 0
	for _, stands := range b.standing("r2") {
		if !stands {
			gone++
		}
	}
	if gone != 1 {
		t.Errorf("taken back are %d: %v", gone, b.standing("r2"))
	}
}

// What is sent as no form of ours is refused or asked back, never a fault of the program.
func TestOddForms(t *testing.T) {
	b, _ := two(t)
	send := func(path, kind, body string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("POST", "http://127.0.0.1:4280"+path, strings.NewReader(body))
		r.Header.Set("Content-Type", kind)
		w := httptest.NewRecorder()
		b.h.ServeHTTP(w, r)
		return w
	}
	const plain = "application/x-www-form-urlencoded"
	for _, path := range []string{"/v/van-3/reading", "/v/van-3/work", "/v/van-3/measure", "/v/van-3/replaced", "/v/van-3/answer?task=engine+oil&answer=postpone", "/v/van-3/answer?task=safety+inspection&answer=postpone"} {
		for name, c := range map[string][2]string{
			"several parts":  {"multipart/form-data; boundary=x", "--x\r\nContent-Disposition: form-data; name=\"meter1\"\r\n\r\n129800\r\n--x--\r\n"},
			"no boundary":    {"multipart/form-data", "x"},
			"text":           {"text/plain", "meter1=129800"},
			"json":           {"application/json", `{"meter1":129800}`},
			"another set":    {plain + "; charset=utf-16", "m\x00e\x00"},
			"NULs":           {plain, "day=2031-06-06%00&meter0=%00&meter1=1%002&note=%00&task=%00&why=%00"},
			"no UTF-8":       {plain, "day=%ff&meter0=%ff&meter1=%fe&note=%c3%28&task=%ff&why=%ff&until=%ff"},
			"half an escape": {plain, "day=%f&meter0=%"},
			"semicolons":     {plain, "day=2031-06-06;meter1=5"},
			"many fields":    {plain, strings.Repeat("task=engine+oil&", 900)},
			"many names":     {plain, strings.Repeat("a=&b=&", 2000)},
			"64 KiB":         {plain, "note=" + strings.Repeat("a", 64<<10)},
			"another's unit": {plain, "form=../../etc&day=2031-06-06&meter0=12&meter0-in=parsec"},
		} {
			w := send(path, c[0], c[1])
			if w.Code != 400 && w.Code != 413 && w.Code != 422 && w.Code != 409 {
				t.Errorf("%s, %s: %d\n%s", path, name, w.Code, main(w.Body.String()))
			}
		}
	}
	if n := len(b.entries("")); n != 0 {
		t.Errorf("entered are %d", n)
	}
}

// Numbers and days at the edges are asked back, and what is entered is what was typed.
func TestEdges(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/reading")
	for _, v := range []string{"1e308", "1e400", "-0", "-1", "NaN", "nan", "Inf", "+Inf", "0x10", "0b1", "1_000", "٣٤٥", "１２", "4,5", "1.234,5", "1,23,456", "1 2 3", "129800 l", "129800 h", ".", ",", "--1", "1e5", "99999999999", strings.Repeat("9", 400)} {
		if got := b.send("/v/van-3/reading", p, "day=2031-06-06&meter0="+url.QueryEscape(v)); got.code != 422 || !strings.Contains(got.text, "Not entered yet") {
			t.Errorf("%q: %d\n%s", v, got.code, main(got.text))
		}
	}
	for _, d := range []string{"2031-02-31", "2031-02-29", "0001-01-01", "9999-12-31", "2031-06-07", "2030-06-04", "06/06/2031x", "31 Feb 2031", "1", "2031-6", "6/6/0001", "-2031-06-06", "20310606", "2031-13-01", "2031-00-00", "2031-06-06T00:00:00Z"} {
		if got := b.send("/v/van-3/reading", p, "meter0=129800&day="+url.QueryEscape(d)); got.code != 422 || !strings.Contains(got.text, `value="`+d+`"`) {
			t.Errorf("%q: %d\n%s", d, got.code, main(got.text))
		}
	}
	for _, c := range []string{"24:00", "12:60", "-1:00", "1", "7:5", "٠٧:٠٠", "12:00:00", "noon"} {
		if got := b.send("/v/van-3/reading", p, "meter0=129800&day=2031-06-05&time="+url.QueryEscape(c)); got.code != 422 {
			t.Errorf("%q: %d\n%s", c, got.code, main(got.text))
		}
	}
	// 30 March 2031 has no 01:30 in London, and 27 October 2030 has two
	for _, day := range []string{"2031-03-30", "2030-10-27"} {
		if got := b.send("/v/van-3/reading", b.get("/v/van-3/reading"), "meter0=1&do=look&time=1:30&day="+day); got.code >= 500 {
			t.Errorf("%s: %d\n%s", day, got.code, main(got.text))
		} else {
			t.Log(day, got.code)
		}
	}
	if n := len(b.entries("")); n != 0 {
		t.Errorf("entered are %d", n)
	}
}

// Statutory work is not postponed by a changed form, and what is gone is not answered.
func TestAnswersOfNothing(t *testing.T) {
	b := open(t)
	for _, q := range []string{"task=safety+inspection&answer=postpone", "rule=safety+inspection&answer=postpone", "task=made+up&answer=postpone", "rule=made+up&answer=acknowledge",
		"rule=engine+oil&answer=accept", "task=engine+oil&answer=unshelve", "rule=&answer=postpone", "answer=made+up", "rule=engine+oil&component=gearbox&answer=acknowledge", "rule=engine+oil&component=made+up&answer=shelve"} {
		got := b.send("/v/van-3/answer?"+q, b.get("/v/van-3/answer?"+q), "until=2031-06-10&why=no+lift&day=2031-06-06")
		if got.code == 303 || got.code >= 500 {
			t.Errorf("%s: %d\n%s", q, got.code, main(got.text))
		}
	}
	if n := len(b.entries("")); n != 0 {
		t.Errorf("entered are %d", n)
	}
}

// Only an entry that stands is taken back, once, at its own vehicle.
func TestTakesBackNothingElse(t *testing.T) {
	b := open(t)
	p := b.get("/v/van-3/reading")
	done := b.send("/v/van-3/reading", p, "day=2031-06-06&meter0=129800")
	for _, path := range []string{"/v/van-3/entered/made-up", "/v/van-4/entered/" + p.id, "/v/van-3/entered/" + p.id + "-9", "/v/van-3/entered/" + p.id[:19], "/v/van-3/entered/r",
		"/v/van-3/entered/van-3", "/v/van-3/entered/" + p.id + "?by=/people/tobias", "/v/van-3/entered/%00", "/v/van-3/entered/%2e%2e", "/v/van-3/entered/%2f", "/v/%00/entered/r3", "/v/%ff/entered/r3"} {
		if got := b.send(path, p, ""); got.code != 404 && got.code != 301 && got.code != 307 {
			t.Errorf("%s: %d\n%s", path, got.code, main(got.text))
		}
	}
	var all [10]page
	var wg sync.WaitGroup
	for i := range all {
		wg.Go(func() { all[i] = b.send(done.to, p, "") })
	}
	wg.Wait()
	for _, got := range all {
		if got.code != 303 || got.to != done.to {
			t.Errorf("%d to %s\n%s", got.code, got.to, main(got.text))
		}
	}
	if got := b.send(done.to, p, ""); got.code != 303 {
		t.Errorf("later: %d", got.code)
	}
	var voids []string
	if err := b.Log.EachOf(t.Context(), "van-3", func(ev event.Event) error {
		if ev.Kind == event.VoidEvent {
			voids = append(voids, ev.ID.ID)
		}
		return nil
	}); err != nil || len(voids) == 0 {
		t.Fatalf("%q, %v", voids, err)
	}
	for _, v := range voids {
		if v != voids[0] {
			t.Errorf("taken back by %q", voids)
		}
		if got := b.send("/v/van-3/entered/"+v, p, ""); got.code != 404 {
			t.Errorf("what took it back is taken back: %d\n%s", got.code, main(got.text))
		}
	}
}
