package post

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/service/servicetest"
	"telltale/notify/people"
	"telltale/notify/programs"
	"telltale/notify/programs/gate"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) { quick.Main(m) }

const (
	reading = `{"specversion":"1.0","type":"telltale.reading.v1","source":"/till","id":"r-%d","subject":"%s","time":"2031-01-03T06:10:00Z","data":{"meter":"odometer","value":81234,"unit":"km"}}`
	forged  = `{"specversion":"1.0","type":"telltale.reading.v1","source":"/people/ines","id":"r-9","subject":"bus-07","time":"2031-01-03T06:10:00Z","data":{"meter":"odometer","value":81234,"unit":"km"}}`
	answer  = `{"specversion":"1.0","type":"telltale.answer.v1","source":"/till","id":"a-1","subject":"bus-07","time":"2031-02-20T08:00:00Z","data":{"answer":"out of service","by":"tom","why":"gone"}}`
	tick    = `{"specversion":"1.0","type":"telltale.tick.v1","source":"/telltale","id":"tick","time":"2041-02-20T08:00:00Z"}`
)

// start is a service with a till that may send readings of the vehicles of a depot.
func start(t *testing.T) (h *Handler, token string, log *stream.Log) {
	t.Helper()
	svc, log := servicetest.Start(t, "book: 1\n", time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC))
	for id, depot := range map[string]string{"bus-07": "north", "bus-09": "hills"} {
		ev, err := intake.Decode([]byte(fmt.Sprintf(`{"specversion":"1.0","type":"telltale.vehicle.v1","source":"/register","id":"%s","subject":"%s","time":"2031-01-02T00:00:00Z","data":{"name":"%s","tags":{"depot":"%s"},"meters":[{"name":"odometer","kind":"distance"}]}}`, id, id, id, depot)))
		if err == nil {
			err = log.Publish(t.Context(), ev)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := svc.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	token, line := programs.NewToken()
	if err := os.WriteFile(filepath.Join(dir, "till.sha256"), []byte(line+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	d, err := people.Parse("people.yaml", []byte("programs:\n  till: {token file: till.sha256, sends: [reading], where: 'vehicle.tags[\"depot\"] == \"north\"'}\n"))
	if err != nil {
		t.Fatal(err)
	}
	quiet := slog.New(slog.DiscardHandler)
	return &Handler{Gate: gate.New(dir, quiet, d, nil), Log: log, Service: svc, Logger: quiet}, token, log
}

// posted is the answer to a post.
func posted(t *testing.T, h http.Handler, auth, kind, body string) (status int, said string) {
	t.Helper()
	r := httptest.NewRequest("POST", Path, strings.NewReader(body))
	r.Header.Set("Content-Type", kind)
	if auth != "" {
		r.Header.Set("Authorization", auth)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

// TestPost stores what the till may send, acknowledges it with its place in the log, and
// stores nothing else, with the reason for each.
func TestPost(t *testing.T) {
	h, token, log := start(t)
	bearer := "Bearer " + token
	before := last(t, log)
	status, said := posted(t, h, bearer, oneEvent, fmt.Sprintf(reading, 1, "bus-07"))
	if want := fmt.Sprintf(`{"events":[{"source":"/till","id":"r-1","status":202,"seq":%d}]}`+"\n", before+1); status != 202 || said != want {
		t.Fatalf("got %d %s, want %s", status, said, want)
	}
	if e, err := log.EventAt(t.Context(), before+1); err != nil || !strings.HasSuffix(e.Subject, ".bus-07.reading") {
		t.Fatalf("in the log lies %+v, %v", e, err)
	}
	status, said = posted(t, h, "bearer "+token, batch+"; charset=utf-8", "["+strings.Join([]string{fmt.Sprintf(reading, 1, "bus-07"), fmt.Sprintf(reading, 2, "bus-07"), fmt.Sprintf(reading, 3, "bus-09"),
		fmt.Sprintf(reading, 4, "bus-10"), answer, forged, tick, `{"specversion":"1.0"}`, `7`}, ",")+"]")
	var got struct{ Events []Answer }
	if err := json.Unmarshal([]byte(said), &got); err != nil {
		t.Fatal(err)
	}
	for i := range got.Events {
		if a := &got.Events[i]; a.Status == http.StatusUnprocessableEntity {
			if a.Reason == "" {
				t.Errorf("event %d is refused without a reason", i)
			}
			a.Reason = ""
		}
	}
	want := []Answer{
		{Source: "/till", ID: "r-1", Status: 202, Seq: before + 1, Duplicate: true},
		{Source: "/till", ID: "r-2", Status: 202, Seq: before + 2},
		{Source: "/till", ID: "r-3", Status: 403, Reason: "`where` does not hold for bus-09: vehicle.tags[\"depot\"] == \"north\""},
		{Source: "/till", ID: "r-4", Status: 403, Reason: "no vehicle bus-10 is registered, and with `where` it sends of registered ones alone"},
		{Source: "/till", ID: "a-1", Status: 403, Reason: "it may send reading, not answer"},
		{Source: "/people/ines", ID: "r-9", Status: 403, Reason: `source "/people/ines" is that of a person`},
		{Source: "/telltale", ID: "tick", Status: 403, Reason: `source "/telltale" is that of the service`}, {Status: 422}, {Status: 422},
	}
	if status != 422 || !reflect.DeepEqual(got.Events, want) {
		t.Errorf("%d\ngot  %+v\nwant %+v", status, got.Events, want)
	}
	if now := last(t, log); now != before+2 {
		t.Errorf("the log grew by %d, want 2", now-before)
	}
	if all, _, err := h.Gate.Statuses(); err != nil || all[0].Refused.Count != 5 {
		t.Errorf("refused are %+v, %v", all, err)
	}
}

func last(t *testing.T, log *stream.Log) uint64 {
	t.Helper()
	n, err := log.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestPostRefused lets nobody in without the token, and reads nothing that is too long or
// no event.
func TestPostRefused(t *testing.T) {
	h, token, log := start(t)
	bearer, one := "Bearer "+token, fmt.Sprintf(reading, 1, "bus-07")
	before := last(t, log)
	for _, tt := range []struct {
		what, auth, kind, body string
		want                   int
	}{
		{"no token", "", oneEvent, one, 401}, {"another's", "Bearer tt_x", oneEvent, one, 401}, {"a part of it", bearer[:len(bearer)-1], oneEvent, one, 401},
		{"as a name", "Basic " + token, oneEvent, one, 401}, {"an empty one", "Bearer ", oneEvent, one, 401}, {"the digest", "Bearer " + fmt.Sprintf("sha256:%x", programs.DigestOf(token)), oneEvent, one, 401},
		{"a form", bearer, "application/x-www-form-urlencoded", "a=b", 415}, {"text", bearer, "text/plain", one, 415}, {"nothing", bearer, "", one, 415},
		{"no JSON", bearer, oneEvent, "hello", 422}, {"twice a key", bearer, oneEvent, `{"specversion":"1.0","specversion":"1.0"}`, 422}, {"a batch that is none", bearer, batch, one, 400},
		{"an empty batch", bearer, batch, "[]", 413}, {"too many", bearer, batch, "[" + strings.Repeat("1,", maxEvents) + "1]", 413},
		{"too long", bearer, oneEvent, one + strings.Repeat(" ", intake.MaxBytes), 413}, {"a batch too long", bearer, batch, "[" + strings.Repeat(" ", maxBody) + "1]", 413},
		{"one too long in a batch", bearer, batch, `["` + strings.Repeat("x", intake.MaxBytes) + `"]`, 422},
	} {
		status, said := posted(t, h, tt.auth, tt.kind, tt.body)
		if status != tt.want || !strings.Contains(said, `"reason":"`) || strings.Contains(said, token) {
			t.Errorf("%s: got %d %s, want %d", tt.what, status, said, tt.want)
		}
	}
	for _, kind := range people.Kinds() {
		if k, ok := event.KindOf(kind); !ok || k.Internal() {
			t.Errorf("a program may be let send %s", kind)
		}
	}
	if now := last(t, log); now != before {
		t.Errorf("the log grew by %d", now-before)
	}
}

// TestBeside leaves pages to whoever has them.
func TestBeside(t *testing.T) {
	h, _, _ := start(t)
	pages := h.Beside(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) }))
	for _, tt := range []struct {
		method, path string
		want         int
	}{{"GET", "/events", 418}, {"POST", "/events/", 418}, {"POST", "/v/bus-07", 418}, {"PUT", "/events", 405}, {"OPTIONS", "/events", 405}, {"POST", "/events", 401}} {
		w := httptest.NewRecorder()
		pages.ServeHTTP(w, httptest.NewRequest(tt.method, tt.path, nil))
		if w.Code != tt.want || w.Header().Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s %s: %d, want %d", tt.method, tt.path, w.Code, tt.want)
		}
	}
}
