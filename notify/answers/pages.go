package answers

import (
	"cmp"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/notify"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Fleet answers what a page shows of a vehicle.
type Fleet interface {
	// AlarmsOf are the vehicle's alarms as they stand.
	AlarmsOf(ctx context.Context, vehicle string) ([]alarm.Listed, error)
	// Registered is what is registered of it, nil where nothing is.
	Registered(ctx context.Context, vehicle string) (*event.VehicleData, error)
	// Due lists its tasks, by what is due first.
	Due(ctx context.Context, q due.Query) ([]due.Item, error)
}

// Pages answers GET and POST of /a/<token>, an alarm's page, and of /u/<token>, where
// a person asks for no more mails of a kind.
type Pages struct {
	Key Key
	// Now is the clock by which links expire and answers are dated.
	Now   func(ctx context.Context) (time.Time, error)
	Fleet Fleet
	// Person gives who a link was made for, nil where nobody is of that id any more.
	Person func(id string) *people.Person
	// Publish stores an answer's event.
	Publish func(ctx context.Context, ev event.Event) error
	// Leave notes that a person wants no more mails of a kind, or with back that they
	// want them again. It is written down when it returns.
	Leave func(ctx context.Context, person string, kind notify.Kind, back bool) error
	Log   *slog.Logger
}

//go:embed page.html
var pageHTML string

var pageTemplate = template.Must(template.New("page").Parse(pageHTML))

// view is what the page shows.
type view struct {
	Title, Lead, Fault string
	Shown              bool // the alarm and the forms
	Alarm              alarm.Listed
	Stage              string
	Strong, Found      string
	Figures            []string
	Meters             []event.MeterDef
	At, Today          string
	// Later is until when it is put aside unless another day is chosen, Last the last one.
	Later, Last, ShelfLimit string
	Fluid                   bool
	Distances, Volumes      []string    // to choose among
	Units                   unit.System // chosen unless somebody chooses others
	Tasks                   []Task
	Leave, Back             bool // the buttons to leave, and to come back
}

// Task is work by its name and as people read it.
type Task struct{ Name, Title string }

// maxTasks bounds what there is to tick.
const maxTasks = 40

// failed notes what the fleet did not answer; the page goes without it.
func (b *Pages) failed(vehicle string, err error) {
	if err != nil {
		b.Log.Warn("answering a link", "vehicle", vehicle, "error", err)
	}
}

// find gives the alarm of a link as it stands; ok is false where none does.
func (b *Pages) find(ctx context.Context, l Link) (s alarm.Listed, ok bool) {
	all, err := b.Fleet.AlarmsOf(ctx, l.Vehicle)
	b.failed(l.Vehicle, err)
	d, err := b.Fleet.Registered(ctx, l.Vehicle)
	b.failed(l.Vehicle, err)
	component := d.Present().Component(l.Component) // the mail may be older than its name
	i := slices.IndexFunc(all, func(s alarm.Listed) bool {
		return s.Component == component && s.Rule == l.Rule && s.To != alarm.Normal
	})
	if i < 0 {
		return s, false
	}
	return all[i], true
}

// tasks are those to tick beside the alarm's own: of the component and of the whole
// vehicle.
func (b *Pages) tasks(ctx context.Context, l Link) (out []Task) {
	const decade = 3660 // days ahead: all there are
	who := cmp.Or(b.Person(l.Person), people.Anyone(l.Person))
	list, err := b.Fleet.Due(ctx, due.Query{Vehicle: l.Vehicle, Ahead: decade})
	b.failed(l.Vehicle, err)
	for _, d := range list {
		known := slices.ContainsFunc(out, func(o Task) bool { return o.Name == d.Task })
		if (d.Component == "" || d.Component == l.Component) && d.Task != l.Rule && len(out) < maxTasks && !known {
			out = append(out, Task{d.Task, page.Clean(wording.Title(who, d.Task, d.Title), 200)})
		}
	}
	return out
}

// maxForm bounds what a form may send.
const maxForm = 16 << 10

// ServeHTTP shows the page, and takes what its forms send.
func (b *Pages) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Robots-Tag", "noindex")
	h.Set("Cache-Control", "no-store")
	token, leaving := strings.CutPrefix(r.URL.Path, "/u/")
	token, answering := strings.CutPrefix(token, "/a/")
	if leaving == answering {
		b.show(w, http.StatusNotFound, view{Title: wordNothing})
		return
	}
	now, err := b.Now(r.Context())
	if err != nil {
		b.trouble(w, err)
		return
	}
	l, err := b.Key.Open(token, now)
	opening := r.Method == http.MethodGet || r.Method == http.MethodHead
	switch {
	case errors.Is(err, ErrExpired):
		b.show(w, http.StatusGone, view{Title: wordExpired})
	case err != nil || leaving == (l.Kind == "") || leaving && (b.Person(l.Person) == nil || leaveLeads[l.Kind] == ""):
		b.show(w, http.StatusNotFound, view{Title: wordNothing})
	case !opening && r.Method != http.MethodPost:
		h.Set("Allow", "GET, HEAD, POST")
		b.show(w, http.StatusMethodNotAllowed, view{Title: wordNothing})
	case opening && leaving:
		b.askLeave(w, http.StatusOK, l)
	case opening:
		b.page(w, r, l, now, "")
	default:
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		if leaving {
			b.takeLeave(w, r, l)
		} else {
			b.post(w, r, l, token, now)
		}
	}
}

func (b *Pages) post(w http.ResponseWriter, r *http.Request, l Link, token string, now time.Time) {
	if err := r.ParseForm(); err != nil {
		b.page(w, r, l, now, "The form could not be read; please try again.")
		return
	}
	s, ok := b.find(r.Context(), l)
	if !ok && r.PostForm.Get("answer") != "not mine" { // which is of the vehicle, whatever stands
		b.page(w, r, l, now, "")
		return
	}
	ev, done, err := answer(form{r.PostForm, l, token, now, s, b.meters(r.Context(), l), b.tasks(r.Context(), l)})
	if err != nil {
		b.page(w, r, l, now, english.Sentence(err.Error()))
		return
	}
	if ev, err = intake.Checked(ev); err != nil {
		b.trouble(w, fmt.Errorf("an answer of our own: %w", err))
		return
	}
	if err := b.Publish(r.Context(), ev); err != nil {
		b.trouble(w, err)
		return
	}
	b.show(w, http.StatusOK, view{Title: wordNoted, Lead: done})
}

// trouble is a fault of ours.
func (b *Pages) trouble(w http.ResponseWriter, err error) {
	b.Log.Error("answering a link", "error", err)
	b.show(w, http.StatusServiceUnavailable, view{Title: wordTrouble})
}

// page shows the alarm with the forms, and what was wrong with the last try.
func (b *Pages) page(w http.ResponseWriter, r *http.Request, l Link, now time.Time, fault string) {
	s, ok := b.find(r.Context(), l)
	if !ok {
		b.show(w, http.StatusOK, view{Title: wordOver, Lead: wordOverLead})
		return
	}
	p := cmp.Or(b.Person(l.Person), people.Anyone(l.Person))
	v := view{Fault: fault, Shown: true, Alarm: s, At: now.UTC().Format(time.RFC3339), Fluid: l.Component != ""}
	v.Stage = notify.StageWords(s.To, s.Standing)
	v.Title, v.Strong, v.Found, v.Figures = notify.Standing(p, cmp.Or(s.Name, l.Vehicle), &s)
	most := alarm.ShelfDays(s.To)
	date := func(days int) string { return now.UTC().AddDate(0, 0, days).Format(time.DateOnly) }
	v.Today, v.Later, v.Last = date(0), date(min(most, 14)), date(most)
	v.ShelfLimit = english.Sentence(shelfLimit(s.To))
	v.Units, v.Distances = wording.UnitsOf(p, s.Reads), unit.Distances()
	v.Volumes, v.Tasks, v.Meters = unit.Volumes(), b.tasks(r.Context(), l), b.meters(r.Context(), l)
	code := http.StatusOK
	if fault != "" {
		code = http.StatusUnprocessableEntity
	}
	b.show(w, code, v)
}

func (b *Pages) show(w http.ResponseWriter, code int, v view) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	if err := pageTemplate.Execute(w, v); err != nil {
		b.Log.Info("writing a page", "error", err) // whoever asked is gone
	}
}

func (b *Pages) meters(ctx context.Context, l Link) []event.MeterDef {
	d, err := b.Fleet.Registered(ctx, l.Vehicle)
	b.failed(l.Vehicle, err)
	if d == nil {
		return nil
	}
	return d.Meters
}

const (
	wordLeave = "Unsubscribe from these mails?"
	wordLeft  = "You are unsubscribed from these mails."
	wordBack  = "You are subscribed to these mails again."
)

// leaveLeads says by kind what one press of the button ends.
var leaveLeads = map[notify.Kind]string{
	notify.Lists:    "You would no longer get the due lists.",
	notify.Messages: "You would no longer get messages about what happened to a vehicle. You would still get warnings, and overdue work that the law requires.",
}

// askLeave shows the button. Programs that look at links in mails open them, so that
// opening one ends nothing.
func (b *Pages) askLeave(w http.ResponseWriter, code int, l Link) {
	b.show(w, code, view{Title: wordLeave, Lead: leaveLeads[l.Kind], Leave: true, Back: true})
}

// takeLeave takes the button's POST, or that of a mail program (RFC 8058).
func (b *Pages) takeLeave(w http.ResponseWriter, r *http.Request, l Link) {
	err := r.ParseMultipartForm(maxForm)
	back := r.PostFormValue("again") != ""
	if err != nil && !errors.Is(err, http.ErrNotMultipart) || !back && r.PostFormValue("List-Unsubscribe") != "One-Click" {
		b.askLeave(w, http.StatusUnprocessableEntity, l)
		return
	}
	if err := b.Leave(r.Context(), l.Person, l.Kind, back); err != nil {
		b.trouble(w, err)
		return
	}
	title := wordLeft
	if back {
		title = wordBack
	}
	b.show(w, http.StatusOK, view{Title: title, Leave: back, Back: !back})
}

// Listen serves the pages at an address, host:port, until the server is closed.
func (b *Pages) Listen(address string) (*http.Server, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("serving the answers: %w", err)
	}
	s := &http.Server{Handler: b, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 32 << 10}
	b.Log.Info("serving answers", "address", l.Addr().String())
	go func() {
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			b.Log.Error("serving the answers", "error", err)
		}
	}()
	return s, nil
}
