package try_test

import (
	"net/http"
	"net/url"
	"runtime"
	"strings"
	"testing"
	"time"

	"telltale/notify/board/boardtest"
	"telltale/rules"
)

// Texts made to take long or much are answered soon, and nothing of them stays.
func TestHeavyTexts(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{
		Rules:    []rules.File{{Name: "oil.yaml", Text: []byte("book: 1\ntasks:\n  oil change: {every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading}\n")}},
		Vehicles: "vehicles:\n  bus-01: {name: Bus 1, kind: minibus, meters: {odometer: distance}}\n",
		People:   "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}\noperator: [ines]\n",
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"bus-01","time":"2031-06-01T06:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n",
	})
	h := pages(f)
	aliases := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'k'; c++ {
		aliases += string(c) + ": &" + string(c) + " [" + strings.Repeat("*"+string(c-1)+",", 9) + "]\n"
	}
	rule := func(when string) string {
		return "book: 1\nrules:\n  heavy:\n    on: reading\n    measure: " + when + "\n    above: {advisory: 800}\n    say: It is heavy\n    advise: {advisory: Read the meter.}\n    cautions: none\n"
	}
	boardtest.Post(t, h, "/rules/try", url.Values{"file": {"zz.yaml"}, "text": {"book: 1\n"}, "of": {"vehicle"}, "vehicle": {"bus-01"}, "days": {"7"}})
	before := runtime.NumGoroutine()
	for name, text := range map[string]string{
		"aliases":          "book: 1\n" + aliases,
		"aliases in rules": "book: 1\nrules: &r\n  a: *r\n",
		"merge keys":       "book: 1\ntasks:\n  a: &a {title: A}\n  b: {<<: [" + strings.Repeat("*a,", 20000) + "]}\n",
		"deep brackets":    rule(strings.Repeat("(", 20000) + "1" + strings.Repeat(")", 20000)),
		"deep not":         rule("'" + strings.Repeat("!", 60000) + "true'"),
		"deep lists":       "book: 1\ntasks: " + strings.Repeat("[", 100000),
		"deep maps":        "book: 1\ntasks: " + strings.Repeat("{a: ", 30000),
		"long sum":         rule("1" + strings.Repeat("+1", 60000) + ""),
		"ranges":           rule("'count(1..100000000, any(1..100000000, # > 5))'"),
		"map of a range":   rule("'len(map(1..1000000000, #))'"),
		"repeat":           rule("'len(repeat(\"a\", 2000000000))'"),
		"regex":            rule("'vehicle.name matches \"(a*)*b{1000}{1000}\"'"),
		"line":             "book: 1\n#" + strings.Repeat("x", 250<<10),
		"NUL":              "book: 1\n\x00",
		"tabs":             strings.Repeat("\t\n", 60000),
		"anchors":          "book: 1\n" + strings.Repeat("&a ", 50000),
		"documents":        strings.Repeat("---\nbook: 1\n", 20000),
		"tasks":            "book: 1\ntasks:\n" + strings.Repeat("  a: {every: {time: 1 day}}\n", 8000),
	} {
		begun := time.Now()
		w := boardtest.Post(t, h, "/rules/try", url.Values{"file": {"zz-attack.yaml"}, "text": {text}, "of": {"vehicle"}, "vehicle": {"bus-01"}, "days": {"7"}})
		took := time.Since(begun)
		if w.Code >= 500 || took > 10*time.Second || w.Body.Len() > 2<<20 {
			t.Errorf("%s: %d after %v, %d bytes\n%.600s", name, w.Code, took, w.Body.Len(), boardtest.Says(w))
		}
		if to := w.Header().Get("Location"); w.Code == http.StatusSeeOther {
			boardtest.Post(t, h, to+"/stop", nil)
			boardtest.Get(t, h, to)
		}
	}
	for i := 0; runtime.NumGoroutine() > before+2 && i < 100; i++ {
		<-time.After(20 * time.Millisecond)
	}
	if after := runtime.NumGoroutine(); after > before+2 {
		t.Errorf("goroutines went from %d to %d", before, after)
	}
}
