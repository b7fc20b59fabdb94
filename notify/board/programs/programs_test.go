package programs_test

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"telltale/engine/stream/server"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/people"
	"telltale/notify/programs/gate"
)

func TestMain(m *testing.M) { boardtest.Main(m) }

// TestPage shows what each program may, that one is connected and what was refused, and ends
// its connection; no more of a key than its beginning, and no subject as anything but text.
func TestPage(t *testing.T) {
	key, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	public, err := key.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	file := "people:\n  ines: {name: Ines Thornbeck}\noperator: []\nprograms:\n  gateway-3: {key: " + public + ", sends: [reading, sample]}\n" +
		"  till: {token file: till.sha256, sends: [service], where: 'vehicle.tags[\"depot\"] == \"north\"'}\n"
	f := boardtest.New(t, boardtest.Files{People: file})
	d, err := people.Parse("people.yaml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	quiet := slog.New(slog.DiscardHandler)
	g := gate.New(t.TempDir(), quiet, d, nil)
	programs, closed := g.Programs()
	srv, err := server.Embed(t.Context(), server.Config{Dir: t.TempDir(), Listen: "127.0.0.1:-1", Log: quiet, Programs: programs, Closed: closed})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { srv.Close() })
	if err := g.Open(t.Context(), srv, nil); err != nil {
		t.Fatal(err)
	}
	f.Own.Gate = g
	pages := board.Handler(f.Frame)
	look := func(method, path string) (*httptest.ResponseRecorder, string) {
		r := httptest.NewRequest(method, "http://127.0.0.1"+path, nil)
		w := httptest.NewRecorder()
		pages.ServeHTTP(w, r)
		return w, w.Body.String()
	}
	_, text := look("GET", "/programs")
	for _, want := range []string{"gateway-3", "key " + public[:8] + "…", "It may send reading and sample of all vehicles.", "Not connected.", "by a token, over HTTP", "It may send service of some vehicles.", "vehicle.tags[&#34;depot&#34;] == &#34;north&#34;"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %s:\n%s", want, text)
		}
	}
	if strings.Contains(text, public) || strings.Contains(text, "End its connection") {
		t.Error("the page shows a whole key, or ends a connection that is none")
	}
	if w, _ := look("POST", "/programs/gateway-3/end"); w.Code != http.StatusConflict {
		t.Errorf("ending no connection: %d", w.Code)
	}

	cut := make(chan struct{})
	nc, err := nats.Connect(srv.URL(), nats.Nkey(public, key.Sign), nats.Name("<b>gw</b>"), nats.MaxReconnects(0), nats.ClosedHandler(func(*nats.Conn) { close(cut) }))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	g.Refuse(server.Refusal{At: time.Now(), Key: public, Subject: `telltale.in.<script>alert(1)</script>.service`, From: "192.0.2.7"})
	g.Refuse(server.Refusal{At: time.Now(), Key: "UNKNOWN", From: "192.0.2.7"})
	_, text = look("GET", "/programs")
	for _, want := range []string{"</span> from 127.0.0.1:", "1 time since the service was started", "it may send reading and sample, not service", "&lt;script&gt;", "End its connection", "1 try, the last on", "no program in people.yaml has its key"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %s:\n%s", want, text)
		}
	}
	if w, _ := look("POST", "/programs/gateway-3/end"); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/programs?ended=gateway-3" {
		t.Errorf("ending the connection: %d %s", w.Code, w.Header().Get("Location"))
	}
	select {
	case <-cut:
	case <-time.After(time.Minute):
		t.Fatal("it is still connected")
	}
	if _, text := look("GET", "/programs?ended=gateway-3"); !strings.Contains(text, "The connections of gateway-3 were ended.") {
		t.Errorf("nothing is said of it:\n%s", text)
	}
}

// TestPageOpen says where nobody has to sign in.
func TestPageOpen(t *testing.T) {
	f := boardtest.New(t, boardtest.Files{})
	w := httptest.NewRecorder()
	board.Handler(f.Frame).ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/programs", nil))
	if !strings.Contains(w.Body.String(), "people.yaml names no programs: whoever reaches the NATS server, on this machine alone, may send and ask.") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}
