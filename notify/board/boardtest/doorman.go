package boardtest

import (
	"context"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/audit"
	"telltale/notify/board/frame"
)

// whoHeader names who is signed in, for a [Doorman].
const whoHeader = "Test-Who"

// Doorman lets in whom a request names: what somebody may do is tried without signing in.
type Doorman struct {
	// Strong is when they showed two factors.
	Strong time.Time
}

// Tablet is a tablet that was paired for an entry of rights, for [GetAs] and [PostAs].
func Tablet(entry string) string { return "tablet:" + entry }

// Identify is whom the request names.
func (d Doorman) Identify(_ context.Context, r *http.Request) (*frame.Identity, error) {
	who := r.Header.Get(whoHeader)
	if who == "" {
		return nil, nil
	}
	if entry, ok := strings.CutPrefix(who, "tablet:"); ok {
		return &frame.Identity{Who: "tablet-1", Tablet: true, Entry: entry, Name: "Tablet 1", How: audit.Pairing}, nil
	}
	return &frame.Identity{Who: who, Session: "test", How: audit.Link, Strong: d.Strong, Lately: !d.Strong.IsZero()}, nil
}

// Strange leads to signing in.
func (Doorman) Strange(_ context.Context, r *frame.Request) (*frame.Page, error) {
	return &frame.Page{To: frame.Back(frame.SignIn, r.URL.RequestURI())}, nil
}

// GetAs asks for a page as somebody who is signed in.
func GetAs(t testing.TB, h http.Handler, who, path string) *httptest.ResponseRecorder {
	t.Helper()
	return ask(h, as(httptest.NewRequest(http.MethodGet, "http://127.0.0.1:4280"+path, nil), who))
}

// PostAs sends a form as somebody who is signed in.
func PostAs(t testing.TB, h http.Handler, who, path string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	return ask(h, as(post(path, form), who))
}

func as(r *http.Request, who string) *http.Request {
	r.Header.Set(whoHeader, who)
	return r
}

// WithDoor is a frame over the same fleet where people sign in by a door.
func (f *Fleet) WithDoor(d frame.Door) *frame.Frame {
	return &frame.Frame{Service: f.Service, Log: f.Log, People: f.People, Now: f.Now, Reads: f.Reads, URL: f.URL, From: f.From, Dir: f.Dir,
		Logger: f.Logger, Live: f.Live, Own: f.Own, Hosts: f.Hosts, Audit: f.Audit, Proxies: f.Proxies, Door: d, Asks: f.Asks}
}

// As is a handler whose requests are all from somebody who is signed in.
func As(h http.Handler, who string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { h.ServeHTTP(w, as(r, who)) })
}
