package try

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"time"

	"telltale/engine"
	"telltale/engine/stream/service"
	"telltale/engine/whatif"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
)

// fileName is how a file of rules may be called.
var fileName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9 ._-]{0,80}\.ya?ml$`)

// soon is how long a page waits, for what has ended by then.
const soon = 700 * time.Millisecond

// look checks the text that was sent, runs its cases, and begins to try it.
func (s *site) look(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	book, files, err := s.inForce(ctx)
	if err != nil {
		return nil, err
	}
	f := form.Read(r.PostForm, s.typist(r))
	a, err := s.fields(ctx, f, files, "")
	if err != nil {
		return nil, err
	}
	all, err := service.Register.Of(ctx, s.Service, service.Question{})
	if _, err = frame.Missing(err); err != nil {
		return nil, err
	}
	text := unix(a.Text.Value())
	vehicles, over := a.over(all)
	a.right(text)
	if !f.Right() {
		return a.page()
	}
	changed, full := with(files, a.File.Value(), text)
	if a.Checked, err = s.check(ctx, changed, full, registrations(all)); err != nil {
		return nil, err
	}
	if a.Checked.Book == nil {
		f.Fault(wordFaults)
		return a.page()
	}
	days, _ := strconv.Atoi(a.Days.Value()) // one of daysBack
	n := &run{file: a.File.Value(), text: text, changes: changes(files, a.File.Value(), text), asked: url.Values{}, over: over, days: a.Days.Value(), from: r.Now.AddDate(0, 0, -days), checked: a.Checked, of: len(vehicles), titles: map[string]string{}}
	for _, name := range []string{"file", "of", "vehicle", "tag", "days"} {
		n.asked.Set(name, f.Field(name, "").Value())
	}
	for _, v := range vehicles {
		n.titles[home(v)] = title(v)
	}
	n.trial = &whatif.Trial{Old: book, New: a.Checked.Book, Since: n.from, Until: r.Now, By: engine.Asker{Units: r.Viewer.Units()}}
	if other := s.runs.begin(ctx, n, func(ctx context.Context) { n.work(ctx, s.Log, vehicles) }); other != nil {
		f.Fault("another change is being tried, which takes at most %d seconds: press again after that", int(atMost.Seconds()))
		p, err := a.page()
		if err == nil {
			p.Status = http.StatusTooManyRequests
			p.Header = http.Header{"Retry-After": {strconv.Itoa(int(atMost.Seconds()))}}
		}
		return p, err
	}
	n.wait(ctx)
	return &frame.Page{To: frame.Path("rules", "try", n.id), Nothing: true}, nil
}

// right notes what is wrong with the fields of a form that was sent.
func (a *asking) right(text string) {
	switch {
	case len(text) > maxText:
		a.Text.Fault("it has %d KiB, and may have %d", len(text)>>10, maxText>>10)
	case text == "":
		a.Text.Fault("write the rules, or begin with a file")
	}
	if !fileName.MatchString(a.File.Value()) {
		a.File.Fault("write a name such as my-rules.yaml")
	}
	if n, err := strconv.Atoi(a.Days.Value()); err != nil || n < 1 || n > 366 {
		a.Days.Fault("choose how many days")
	}
}

// wait waits a moment for its end.
func (r *run) wait(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, soon)
	defer cancel()
	select {
	case <-r.ended:
	case <-ctx.Done():
	}
}

// show says how far a change was tried, or what came of it.
func (s *site) show(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	n := s.runs.get(r.PathValue("id"))
	if n == nil {
		return nil, forgotten
	}
	if n.wait(ctx); n.running() {
		return n.progress()
	}
	if n.err != nil && !errors.Is(n.err, errStopped) && !errors.Is(n.err, errLeft) && !errors.Is(n.err, errLong) {
		return nil, n.err
	}
	return n.result(r.Viewer)
}

// progress is the page while it goes on. Browsers ask for it again by themselves; when
// nobody does, it ends.
func (r *run) progress() (*frame.Page, error) {
	at := r.looked()
	p := &frame.Page{Section: frame.More, Title: "Trying the change", Lead: strconv.Itoa(at) + " of " + strconv.Itoa(r.of) + " vehicles are looked at.",
		Up: frame.Link{Words: "Try a change", Path: "/rules/try"}, Header: http.Header{"Refresh": {"2"}}}
	var err error
	p.Body, err = templates.Body("progress", map[string]any{"ID": r.id, "At": at, "Of": r.of, "Seconds": int(atMost.Seconds())})
	return p, err
}

// stop ends it; what was found so far is shown.
func (s *site) stop(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	n := s.runs.get(r.PathValue("id"))
	if n == nil {
		return nil, forgotten
	}
	n.cancel()
	n.wait(ctx)
	return &frame.Page{To: frame.Path("rules", "try", n.id), Nothing: true}, nil
}
