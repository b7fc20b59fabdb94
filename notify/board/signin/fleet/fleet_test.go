package fleet

import (
	"context"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) {
	quick.Start()
	code := m.Run()
	boardtest.Stop()
	if installed.dir != "" {
		os.RemoveAll(installed.dir)
	}
	os.Exit(code)
}

const theirPeople = "people:\n  ines: {name: Ines Thornbeck, mail: ines@example.org, subject: ines.thornbeck}\n  maud: {name: Maud Ashgrove, mail: maud@example.org}\noperator: [ines]\n"

// walk is a board on which people sign in at a provider, and a browser.
type walk struct {
	t        *testing.T
	provider *provider
	board    *httptest.Server
	browser  *http.Client
	begun    []sessions.Session
}

// noDoor lets nobody in; who is signed in is not tried here.
type noDoor struct{ boardtest.Doorman }

func (noDoor) Identify(context.Context, *http.Request) (*frame.Identity, error) { return nil, nil }

func newWalk(t *testing.T, second ...string) *walk {
	t.Helper()
	var p *provider
	w := walkTo(t, func(back string) string {
		p = startProvider(t, back)
		return p.issuer
	}, second...)
	w.provider = p
	return w
}

// theirWalk is one at a provider that is there already.
func theirWalk(t *testing.T, issuer string) *walk {
	t.Helper()
	return walkTo(t, func(string) string { return issuer })
}

// walkTo has the provider started once it is known where it leads back to.
func walkTo(t *testing.T, start func(back string) (issuer string), second ...string) *walk {
	t.Helper()
	w := &walk{t: t}
	fleet := boardtest.New(t, boardtest.Files{People: theirPeople})
	var handler http.Handler
	w.board = httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) { handler.ServeHTTP(rw, r) }))
	t.Cleanup(w.board.Close)
	issuer := start(w.board.URL + back)
	f := fleet.WithDoor(noDoor{})
	f.URL = w.board.URL
	begin := func(_ context.Context, _ *frame.Request, s sessions.Session, to string) (*frame.Page, error) {
		w.begun = append(w.begun, s)
		return &frame.Page{To: "/here?to=" + url.QueryEscape(to)}, nil
	}
	way := New(f, Config{Issuer: issuer, Client: "telltale", Secret: "the secret of the client", SecondFactor: second}, sessions.Open(f.Log), begin, time.Now)
	here := frame.Route{Pattern: "GET /here", Needs: rights.Open, Handle: func(_ context.Context, r *frame.Request) (*frame.Page, error) {
		return &frame.Page{Title: "Here", Lead: r.FormValue("to")}, nil
	}}
	handler = f.Handler(append(way.Routes(), here)...)
	w.browser = browser(t)
	return w
}

func browser(t *testing.T) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &http.Client{Jar: jar, Timeout: time.Minute}
}

// get is a page, wherever it leads.
func (w *walk) get(c *http.Client, path string) *httptest.ResponseRecorder {
	w.t.Helper()
	if strings.HasPrefix(path, "/") {
		path = w.board.URL + path
	}
	a, err := c.Get(path)
	if err != nil {
		w.t.Fatal(err)
	}
	defer a.Body.Close()
	rec := httptest.NewRecorder()
	rec.Code = a.StatusCode
	if _, err := rec.Body.ReadFrom(a.Body); err != nil {
		w.t.Fatal(err)
	}
	return rec
}

// TestSignIn goes to the provider and back, as people do.
func TestSignIn(t *testing.T) {
	w := newWalk(t)
	w.provider.signs(url.Values{"sub": {"ines.thornbeck"}})
	boardtest.Lacks(t, w.get(w.browser, Path+"?to=/due"), 200, "Here", "/due")
	w.provider.signs(url.Values{"sub": {"ines.thornbeck"}, "amr": {"pwd otp mfa"}})
	begun := time.Now().Add(-time.Minute)
	boardtest.Lacks(t, w.get(browser(t), Path+"?again=1"), 200, "Here")
	if len(w.begun) != 2 {
		t.Fatalf("%d sessions were begun, want 2", len(w.begun))
	}
	one, two := w.begun[0], w.begun[1]
	if one.Who != "/people/ines" || one.How != sessions.Fleet || !one.Strong.IsZero() {
		t.Errorf("the first is %+v, want one of ines with one factor", one)
	}
	if two.Who != "/people/ines" || two.Strong.Before(begun) || two.Strong.After(time.Now().Add(time.Minute)) {
		t.Errorf("the second is %+v, want one with two factors of now", two)
	}
}

// TestNamedFactor: what the provider calls a second factor is said in the settings.
func TestNamedFactor(t *testing.T) {
	w := &Way{config: Config{SecondFactor: []string{"phr"}}}
	for _, tt := range []struct {
		acr  string
		amr  []string
		want bool
	}{{"phr", nil, true}, {"", []string{"pwd", "phr"}, true}, {"0", []string{"mfa"}, false}, {"", nil, false}} {
		if got := w.twoFactors(tt.acr, tt.amr); got != tt.want {
			t.Errorf("acr %q, amr %q: %v, want %v", tt.acr, tt.amr, got, tt.want)
		}
	}
}

// TestNotLetIn has what must not let anybody in.
func TestNotLetIn(t *testing.T) {
	w := newWalk(t)
	w.provider.signs(url.Values{"sub": {"maud"}}) // an id here is no subject there
	boardtest.Lacks(t, w.get(w.browser, Path), 403, wordUnknown, `subject: "maud"`)
	w.provider.signs(url.Values{"error": {"access_denied"}})
	boardtest.Lacks(t, w.get(browser(t), Path), 403, wordRefused)

	w.provider.signs(url.Values{"sub": {"ines.thornbeck"}})
	// The browser goes there, and stops before it is led back.
	var last string
	stops := browser(t)
	stops.CheckRedirect = func(r *http.Request, _ []*http.Request) error {
		if strings.HasPrefix(r.URL.String(), w.board.URL+back) {
			last = r.URL.String()
			return http.ErrUseLastResponse
		}
		return nil
	}
	w.get(stops, Path)
	if last == "" {
		t.Fatal("the provider leads nowhere")
	}
	boardtest.Lacks(t, w.get(browser(t), last), 403, wordOver) // of another browser
	boardtest.Lacks(t, w.get(stops, strings.Replace(last, "state=", "state=x", 1)), 403, wordOver)
	boardtest.Lacks(t, w.get(stops, back), 403, wordOver)
	if len(w.begun) != 0 {
		t.Fatalf("%+v was let in", w.begun)
	}
	stops.CheckRedirect = nil
	boardtest.Lacks(t, w.get(stops, last), 200, "Here")
	boardtest.Lacks(t, w.get(stops, last), 403, wordOver) // once
	w.get(stops, Path)
	boardtest.Lacks(t, w.get(stops, back+"?state="+sessions.Secret()+"&code=x"), 403, wordOver)
	if len(w.begun) != 2 {
		t.Errorf("%d sessions were begun, want 2", len(w.begun))
	}
}

// TestAway has a provider that is not there, and one that is another than it says.
func TestAway(t *testing.T) {
	t.Parallel()
	fleet := boardtest.New(t, boardtest.Files{People: theirPeople})
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.Write([]byte(`{"issuer": "https://elsewhere.example", "authorization_endpoint": "https://elsewhere.example/a", "jwks_uri": "https://elsewhere.example/k"}`))
	}))
	t.Cleanup(other.Close)
	for _, issuer := range []string{"http://127.0.0.1:1", other.URL} {
		f := fleet.WithDoor(noDoor{})
		h := f.Handler(New(f, Config{Issuer: issuer, Client: "telltale"}, sessions.Open(f.Log), nil, time.Now).Routes()...)
		boardtest.Lacks(t, boardtest.Get(t, h, Path), 503, wordAway, wordAwayDo)
	}
	if routes := New(fleet.Frame, Config{}, nil, nil, nil).Routes(); routes != nil {
		t.Errorf("without a provider there are pages %v", routes)
	}
}
