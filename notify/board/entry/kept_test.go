package entry

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"telltale/notify/board/frame"
	"telltale/notify/people"
	"telltale/testdata/hostile"
)

// A form that was sent while nothing answers comes back as it was typed, to be sent again.
func TestKept(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte("people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}\n"))
	if err != nil {
		t.Fatal(err)
	}
	f := &frame.Frame{People: func() *people.Directory { return d }, Logger: slog.New(slog.DiscardHandler), URL: "http://127.0.0.1:4280",
		Now: func(context.Context) (time.Time, error) { return time.Date(2031, 6, 6, 5, 31, 0, 0, time.UTC), nil }}
	fails := func(why error) frame.Handler {
		return func(context.Context, *frame.Request) (*frame.Page, error) { return nil, why }
	}
	h := f.Handler(
		frame.Route{Pattern: "GET /work", Handle: Kept(f, fails(errors.New("nobody answers")))},
		frame.Route{Pattern: "POST /work", Handle: Kept(f, fails(errors.New("nobody answers")))},
		frame.Route{Pattern: "POST /gone", Handle: Kept(f, fails(frame.NotFound))},
	)
	ask := func(method, path string, form url.Values) (int, string) {
		r := httptest.NewRequest(method, "http://127.0.0.1:4280"+path, strings.NewReader(form.Encode()))
		if method == http.MethodPost {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Code, w.Body.String()
	}
	typed := url.Values{"task": {"engine oil", "air filter"}, "note": {"thin film"}}
	const want = `<form method="post"><input type="hidden" name="note" value="thin film"><input type="hidden" name="task" value="engine oil"><input type="hidden" name="task" value="air filter">`
	if code, page := ask("POST", "/work", typed); code != 503 || !strings.Contains(page, want) || !strings.Contains(page, "Send it again") {
		t.Errorf("%d\n%s", code, page)
	}
	if code, page := ask("GET", "/work", nil); code != 503 || strings.Contains(page, "<form") {
		t.Errorf("opening it: %d\n%s", code, page)
	}
	if code, _ := ask("POST", "/gone", typed); code != 404 {
		t.Errorf("what is not there: %d", code)
	}
	for _, text := range hostile.Text {
		if code, page := ask("POST", "/work", url.Values{text: {text}}); code == 503 && (strings.Contains(page, "<script>") || strings.Count(page, "<form") != 1) {
			t.Errorf("%.30q went through", text)
		}
	}
}
