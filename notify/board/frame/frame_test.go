package frame

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"telltale/notify/people"
)

// aFrame asks no service.
func aFrame(t *testing.T) *Frame {
	t.Helper()
	d, err := people.Parse("people.yaml", []byte("people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example, zone: Europe/London}\n"+
		"  tobias: {name: Tobias Wrenfold, mail: tobias@larkfell.example, zone: Europe/London}\noperator: [ines]\n"))
	if err != nil {
		t.Fatal(err)
	}
	return &Frame{People: func() *people.Directory { return d }, Logger: slog.New(slog.DiscardHandler), URL: "http://127.0.0.1:4280",
		Now: func(context.Context) (time.Time, error) { return time.Date(2031, 6, 6, 5, 31, 0, 0, time.UTC), nil }}
}

// ask makes a request; each pair of headers is a name and a value.
func ask(h http.Handler, method, path, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://127.0.0.1:4280"+path, strings.NewReader(body))
	if method == "POST" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestFrame(t *testing.T) {
	h := aFrame(t).Handler(
		Route{Pattern: "GET /due", Handle: func(_ context.Context, r *Request) (*Page, error) {
			return &Page{Section: Due, Title: "<Due>", Missing: []int{3, 7}, Work: true}, nil
		}},
		Route{Pattern: "POST /due", Handle: func(_ context.Context, r *Request) (*Page, error) { return &Page{To: "/done"}, nil }},
		Route{Pattern: "GET /broken", Handle: func(context.Context, *Request) (*Page, error) { return nil, errors.New("the secret reason") }},
		Route{Pattern: "GET /panics", Handle: func(context.Context, *Request) (*Page, error) { panic("the secret reason") }},
		Route{Pattern: "GET /table", Handle: func(context.Context, *Request) (*Page, error) {
			return &Page{File: &File{Type: "text/csv; charset=utf-8", Name: "due; x.csv", Body: []byte("a,b\n")}}, nil
		}},
	)
	for name, c := range map[string]struct {
		method, path, body string
		headers            []string
		status             int
		want               string // in the page
	}{
		"a page":         {"GET", "/due", "", nil, 200, "<title>&lt;Due&gt; · Telltale</title>"},
		"what it lacks":  {"GET", "/due", "", nil, 200, "2 parts of 16 parts of the fleet did not answer"},
		"as of":          {"GET", "/due", "", nil, 200, "As of 6 Jun 2031, 06:31."},
		"who looks":      {"GET", "/due", "", nil, 200, "Ines Thornbeck"},
		"who was chosen": {"GET", "/due", "", []string{"Cookie", "telltale-who=tobias"}, 200, "Tobias Wrenfold"},
		"who is gone":    {"GET", "/due", "", []string{"Cookie", "telltale-who=nobody"}, 200, "Ines Thornbeck"},
		"nothing":        {"GET", "/elsewhere", "", nil, 404, "There is nothing here."},
		"trouble":        {"GET", "/broken", "", nil, 503, "This does not work just now."},
		"a fault":        {"GET", "/panics", "", nil, 503, "This does not work just now."},
		"entered":        {"POST", "/due", "a=b", []string{"Sec-Fetch-Site", "same-origin"}, 303, ""},
		"of a program":   {"POST", "/due", "a=b", nil, 303, ""},
		"from elsewhere": {"POST", "/due", "a=b", []string{"Sec-Fetch-Site", "cross-site"}, 403, "sent from another site"},
		"too large":      {"POST", "/due", strings.Repeat("a", maxForm+1), nil, 413, "At most 16 KiB"},
		"another name":   {"GET", "/due", "", []string{"Host", "evil.example"}, 421, "under a name that is not the board"},
		"its own name":   {"GET", "/due", "", []string{"Host", "localhost:4280"}, 200, "&lt;Due&gt;"},
		"by IPv6":        {"GET", "/due", "", []string{"Host", "[::1]:4280"}, 200, "&lt;Due&gt;"},
	} {
		w := ask(h, c.method, c.path, c.body, c.headers...)
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.want) || strings.Contains(w.Body.String(), "secret") {
			t.Errorf("%s: %d, want %d and %q in\n%s", name, w.Code, c.status, c.want, w.Body)
		}
		if w.Header().Get("Content-Security-Policy") != policy || w.Header().Get("Cache-Control") != "no-store" {
			t.Errorf("%s: the headers are %v", name, w.Header())
		}
	}
	if w := ask(h, "GET", "/table", ""); w.Header().Get("Content-Disposition") != `attachment; filename="due; x.csv"` || w.Body.String() != "a,b\n" {
		t.Errorf("a table: %v, %q", w.Header(), w.Body)
	}
	for _, path := range []string{stylePath, scriptPath} {
		if w := ask(h, "GET", path, ""); w.Code != 200 || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") || w.Body.Len() == 0 {
			t.Errorf("%s: %d, %v", path, w.Code, w.Header())
		}
	}
}

func TestPath(t *testing.T) {
	if got := Path("v", "bus 7/a", "why", "copper over baseline?"); got != "/v/bus%207%2Fa/why/copper%20over%20baseline%3F" {
		t.Error(got)
	}
}
