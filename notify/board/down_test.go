package board_test

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/rules"
)

// While the service or the server it asks is gone, each page says so, none shows an empty
// list in place of what it cannot know, and a form keeps what was typed.
func TestNothingAnswers(t *testing.T) {
	for name, end := range map[string]func(*boardtest.Fleet) error{
		"service": func(f *boardtest.Fleet) error { return f.Service.Stop() },
		"server":  func(f *boardtest.Fleet) error { f.Log.Conn.Close(); return nil },
		"both": func(f *boardtest.Fleet) error {
			f.Log.Conn.Close()
			_ = f.Service.Stop() // which says that the connection is closed
			return nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			f := boardtest.New(t, boardtest.Files{
				Rules: []rules.File{{Name: "oil.yaml", Text: []byte("book: 1\ntasks:\n  oil change: {every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading}\n" +
					"rules:\n  far: {on: reading, measure: odometer(), above: {advisory: 2000}, say: 'At ${measure}', advise: Look at it., cautions: none}\n")}},
				Vehicles: "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, people: [ines], meters: {odometer: distance}}\n",
				People:   "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London}\noperator: [ines]\n",
				Events: `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"bus-07","time":"2031-05-01T06:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n" +
					`{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-2","subject":"bus-07","time":"2031-06-01T06:00:00Z","data":{"meter":"odometer","value":2500,"unit":"km"}}` + "\n",
			})
			h := board.Handler(f.Frame)
			if w := boardtest.Get(t, h, "/due"); w.Code != 200 || !strings.Contains(w.Body.String(), "Bus 7") {
				t.Fatalf("before: %d\n%s", w.Code, w.Body)
			}
			if err := end(f); err != nil {
				t.Fatal(err)
			}
			for _, path := range []string{"/", "/due", "/standing", "/vehicles", "/v/bus-07", "/v/bus-07/history", "/v/bus-07/work", "/v/bus-07/reading", "/due.csv"} {
				w := boardtest.Get(t, h, path)
				body := w.Body.String()
				plain := w.Code == 503 || strings.Contains(body, "not complete yet") || strings.Contains(body, "did not answer") || strings.Contains(body, "Bus 7") // the partitions in this process still know it
				if !plain || w.Code == 404 {
					t.Errorf("%s: %d\n%.1500s", path, w.Code, body[max(0, strings.Index(body, "<main")):])
				}
			}
			for path, form := range map[string]string{"/v/bus-07/work": "task=oil+change&note=thin+film&day=2031-06-06&form=0123456789abcdef0123", "/v/bus-07/reading": "meter0=2600&note=thin+film&day=2031-06-06"} {
				v, _ := url.ParseQuery(form)
				w := boardtest.Post(t, h, path, v)
				if body := w.Body.String(); w.Code != 503 || !strings.Contains(body, "2600") && !strings.Contains(body, "thin film") {
					t.Errorf("POST %s: %d\n%s", path, w.Code, body)
				}
			}
		})
	}
}

// What the log has no more room for is not taken for entered, and comes back as it was typed.
func TestNoRoom(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{
		Rules:    []rules.File{{Name: "oil.yaml", Text: []byte("book: 1\ntasks:\n  oil change: {every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading}\n")}},
		Vehicles: "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n",
		People:   "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London}\noperator: [ines]\n",
		Events:   `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-1","subject":"bus-07","time":"2031-06-01T06:00:00Z","data":{"meter":"odometer","value":1000,"unit":"km"}}` + "\n",
	})
	js, err := jetstream.New(f.Log.Conn)
	if err != nil {
		t.Fatal(err)
	}
	stream, err := js.Stream(t.Context(), "EVENTS")
	if err != nil {
		t.Fatal(err)
	}
	full := stream.CachedInfo().Config
	full.MaxMsgs, full.Discard = int64(stream.CachedInfo().State.Msgs), jetstream.DiscardNew
	if _, err := js.UpdateStream(t.Context(), full); err != nil {
		t.Fatal(err)
	}
	h := board.Handler(f.Frame)
	form := url.Values{"form": {"0123456789abcdef0123"}, "meter0": {"2600"}, "day": {"2031-06-06"}}
	begun := time.Now()
	w := boardtest.Post(t, h, "/v/bus-07/reading", form)
	if took := time.Since(begun); took > 12*time.Second {
		t.Errorf("it was said after %v", took)
	}
	if body := w.Body.String(); w.Code != 503 || !strings.Contains(body, `value="2600"`) || !strings.Contains(body, `value="0123456789abcdef0123"`) || !strings.Contains(body, "does not work just now") {
		t.Errorf("%d\n%s", w.Code, body)
	}
	if w := boardtest.Get(t, h, "/v/bus-07/entered/0123456789abcdef0123"); w.Code != 404 {
		t.Errorf("what was not stored has a page: %d", w.Code)
	}
	full.MaxMsgs = -1
	if _, err := js.UpdateStream(t.Context(), full); err != nil {
		t.Fatal(err)
	}
	if w := boardtest.Post(t, h, "/v/bus-07/reading", form); w.Code != 303 {
		t.Errorf("with room again: %d\n%s", w.Code, w.Body)
	}
}
