// Package boardtest runs fleets for the tests of the board's pages: each in a service of
// its own in this process, on a morning that is always the same.
package boardtest

import (
	"bytes"
	"context"
	"fmt"
	"html"
	"io/fs"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/engine/stream"
	"telltale/engine/stream/audit"
	"telltale/engine/stream/server"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/board/frame"
	"telltale/notify/board/signin"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/samples"
	"telltale/testdata/quick"
)

// Morning is when the pages are looked at: a Friday at 06:31 in London.
var Morning = time.Date(2031, 6, 6, 5, 31, 0, 0, time.UTC)

// Fleet is a fleet to test pages on.
type Fleet struct {
	*frame.Frame
	stop []func()
}

// Files are the parts of a fleet's folder; each may be left out.
type Files struct {
	Rules            []rules.File
	Vehicles, People string
	// Events are lines of JSON, or of the short form; a tick is made for each Monday that
	// they pass, and one for Morning.
	Events string
	// Sift has lines that cannot be read passed by, as whoever sends them would.
	Sift bool
	// SignIn: people sign in, see [SignedIn] and [Stranger].
	SignIn bool
}

// Main runs a package's tests, and stops the sample fleet after them.
func Main(m *testing.M) {
	quick.Start()
	code := m.Run()
	Stop()
	os.Exit(code)
}

// Stop stops the sample fleet, for a TestMain that has more to end.
func Stop() {
	if sample != nil {
		sample.close()
	}
}

var (
	sampled sync.Once
	sample  *Fleet
)

// Sample is the sample fleet with one in eight of its readings, one for all tests of a
// package: they must not enter anything. The package's TestMain must be [Main].
func Sample(t testing.TB) *Fleet {
	t.Helper()
	sampled.Do(func() {
		f, err := SampleFiles()
		if err == nil {
			sample, err = start(f)
		}
		if err != nil {
			t.Fatal(err)
		}
	})
	if sample == nil {
		t.Fatal("the sample fleet did not start")
	}
	return sample
}

// SampleFiles are those of the sample fleet, with one in eight of its readings.
func SampleFiles() (f Files, err error) {
	names, err := fs.Glob(samples.FS, "rules/*.yaml")
	if err != nil {
		return f, err
	}
	read := func(name string) []byte {
		text, e := samples.FS.ReadFile(name)
		if e != nil && err == nil {
			err = e
		}
		return text
	}
	for _, name := range names {
		f.Rules = append(f.Rules, rules.File{Name: name, Text: read(name)})
	}
	f.Vehicles, f.People = string(read("vehicles.yaml")), string(read("people.yaml"))
	var kept bytes.Buffer
	n := 0
	for line := range bytes.Lines(read("events.jsonl")) {
		if bytes.Contains(line, []byte(`"telltale.reading.v1"`)) {
			if n++; n%8 != 0 {
				continue
			}
		}
		kept.Write(line)
	}
	f.Events = kept.String()
	return f, err
}

// New runs a fleet of the test's own, until it ends.
func New(t testing.TB, f Files) *Fleet {
	t.Helper()
	out, err := start(f)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(out.close)
	return out
}

func (f *Fleet) close() {
	for i := len(f.stop) - 1; i >= 0; i-- {
		f.stop[i]()
	}
}

func start(files Files) (_ *Fleet, err error) {
	f := &Fleet{}
	defer func() {
		if err != nil {
			f.close()
		}
	}()
	book, all, register, err := files.read()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "telltale-board-")
	if err != nil {
		return nil, err
	}
	f.stop = append(f.stop, func() { os.RemoveAll(dir) })
	ctx, cancel := context.WithCancel(context.Background())
	f.stop = append(f.stop, cancel)
	quiet := slog.New(slog.DiscardHandler)
	srv, err := server.Embed(ctx, server.Config{Dir: dir, Listen: "127.0.0.1:-1", Log: quiet})
	if err != nil {
		return nil, err
	}
	f.stop = append(f.stop, func() { srv.Close() })
	log, err := stream.Open(ctx, srv.Conn(), stream.LogConfig{Log: quiet})
	if err != nil {
		return nil, err
	}
	svc, err := service.Start(ctx, log, service.Config{Program: "test", ClockFollowsEvents: true, Sees: notify.Sees})
	if err != nil {
		return nil, err
	}
	f.stop = append(f.stop, func() { svc.Stop() })
	reads := all
	if book != nil {
		if _, err := log.PublishBook(ctx, stream.Unclocked, book, files.Rules); err != nil {
			return nil, err
		}
		reads = all.Reading(book.Units)
	}
	trail, err := audit.Open(ctx, log)
	if err != nil {
		return nil, err
	}
	f.Frame = &frame.Frame{Audit: trail, Service: svc, Log: log, Logger: quiet, URL: "http://127.0.0.1:4280", From: "Telltale <telltale@larkfell.example>",
		People: func() *people.Directory { return reads }, Now: func(context.Context) (time.Time, error) { return Morning, nil }}
	if f.Live, err = frame.Follow(srv.Conn()); err != nil {
		return nil, err
	}
	f.stop = append(f.stop, f.Live.Close)
	if files.SignIn {
		f.Door = signin.New(f.Frame)
	}
	if err := publish(ctx, log, register, files); err != nil {
		return nil, err
	}
	return f, svc.CaughtUp(ctx)
}

// read reads the parts; each that is empty is left out.
func (f Files) read() (book *rules.Book, all *people.Directory, register []event.Event, err error) {
	all = &people.Directory{}
	if f.Rules != nil {
		book, err = rules.Load(f.Rules)
	}
	if err == nil && f.People != "" {
		all, err = people.Parse("people.yaml", []byte(f.People))
	}
	if err == nil && f.Vehicles != "" {
		register, err = intake.Register("vehicles.yaml", []byte(f.Vehicles), stream.Unclocked)
	}
	return book, all, register, err
}

// publish writes what was reported by the morning to the log, with the ticks of Mondays.
func publish(ctx context.Context, log *stream.Log, register []event.Event, files Files) error {
	var ticked time.Time
	file := replay.File{Register: register}
	if !files.Sift {
		file.Damaged = func(line int, why error) error { return fmt.Errorf("line %d: %w", line, why) }
	}
	err := file.Each(strings.NewReader(files.Events), func(ev event.Event) error {
		switch {
		case ev.Kind == event.TickEvent:
			if ev.Time.After(Morning) || ev.Time.Weekday() != time.Monday {
				return nil
			}
			ticked = ev.Time
			return log.PublishTick(ctx, ticked)
		case ev.Recorded.After(Morning):
			return nil
		}
		return log.Publish(ctx, ev)
	})
	if err != nil {
		return err
	}
	return log.PublishTick(ctx, Morning)
}

// Get asks a handler for a page, as a browser does.
func Get(t testing.TB, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	return ask(h, httptest.NewRequest(http.MethodGet, "http://127.0.0.1:4280"+path, nil))
}

// Post sends a form.
func Post(t testing.TB, h http.Handler, path string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	return ask(h, post(path, form))
}

func post(path string, form url.Values) *http.Request {
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1:4280"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return r
}

func ask(h http.Handler, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

var tags = regexp.MustCompile(`<[^>]*>`)

// Says is the text of a page's content, each run of blanks as one.
func Says(w *httptest.ResponseRecorder) string {
	_, body, _ := strings.Cut(w.Body.String(), "<main")
	body, _, _ = strings.Cut(body, "</main>")
	return strings.Join(strings.Fields(html.UnescapeString(tags.ReplaceAllString(body, " "))), " ")
}

// Lacks fails for another status, and for each text that a page does not say.
func Lacks(t testing.TB, w *httptest.ResponseRecorder, status int, want ...string) {
	t.Helper()
	if w.Code != status {
		t.Errorf("%d, want %d", w.Code, status)
	}
	for _, text := range want {
		if got := Says(w); !strings.Contains(got, text) {
			t.Errorf("the page lacks %q:\n%.4000s", text, got)
		}
	}
}

// Trail is who did what, the newest last, each as it is said: with why, words and vehicle.
func Trail(t testing.TB, f *Fleet) (out []string) {
	t.Helper()
	p, err := f.Audit.List(t.Context(), audit.Query{Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range slices.Backward(p.Entries) {
		said := strings.TrimSuffix(e.Says(e.Who, e.Vehicle), ".")
		if more := e.Beside(); more != "" {
			said += ": " + more
		}
		out = append(out, said)
	}
	return out
}
