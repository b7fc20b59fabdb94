package answers

import (
	"cmp"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/audit"
	"telltale/engine/stream/entry"
	"telltale/notify"
	"telltale/notify/board/form"
	"telltale/notify/board/limits"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
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
	// Enter stores an answer's event and waits until it is folded, in the units of whoever
	// answered.
	Enter func(ctx context.Context, units []string, ev ...event.Event) (entry.Became, error)
	// Leave notes that a person wants no more mails of a kind, or with back that they
	// want them again. It is written down when it returns.
	Leave func(ctx context.Context, person string, kind notify.Kind, back bool) error
	Log   *slog.Logger
	// Audit keeps who did what; nil where nobody does.
	Audit *audit.Log
	// Proxies are in front of the pages, and say for whom they ask.
	Proxies limits.Proxies
	// Limits bound what an address may ask; nil for nothing.
	Limits *limits.By
}

//go:embed page.html
var pageHTML string

var pageTemplate = template.Must(form.Templates(template.New("page")).Parse(pageHTML))

// view is what the page shows.
type view struct {
	Title, Lead   string
	Lines         []string   // what followed
	Sent          *form.Form // nil where nothing is wrong
	Shown         bool       // the alarm and the forms
	Alarm         alarm.Listed
	Stage         string
	Strong, Found string
	Figures       []string
	Forms         forms
	ShelfLimit    string
	Fluid         bool
	Leave, Back   bool // the buttons to leave, and to come back
}

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
func (b *Pages) tasks(ctx context.Context, l Link) (out []form.Choice) {
	const decade = 3660 // days ahead: all there are
	who := cmp.Or(b.Person(l.Person), people.Anyone(l.Person))
	list, err := b.Fleet.Due(ctx, due.Query{Vehicle: l.Vehicle, Ahead: decade})
	b.failed(l.Vehicle, err)
	for _, d := range list {
		known := slices.ContainsFunc(out, func(o form.Choice) bool { return o.Value == d.Task })
		if (d.Component == "" || d.Component == l.Component) && d.Task != l.Rule && len(out) < maxTasks && !known {
			out = append(out, form.Choice{Value: d.Task, Label: page.Clean(wording.Title(who, d.Task, d.Title), 200)})
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
	sent := r.Method == http.MethodPost
	if wait := limits.Take(time.Now(), limits.Use{Of: b.Limits, Key: b.payer(r)}); wait > 0 {
		title, words, after := limits.Words(wait, sent)
		h.Set("Retry-After", strconv.Itoa(after))
		b.show(w, http.StatusTooManyRequests, view{Title: title, Lead: words})
		return
	}
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
	case err != nil || leaving == (l.Kind == "") || leaving && leaveLeads[l.Kind] == "" || b.Person(l.Person) == nil: // who left answers no more
		b.notLet(r, l, err)
		b.show(w, http.StatusNotFound, view{Title: wordNothing})
	case !opening && !sent:
		h.Set("Allow", "GET, HEAD, POST")
		b.show(w, http.StatusMethodNotAllowed, view{Title: wordNothing})
	case opening && leaving:
		b.askLeave(w, http.StatusOK, l)
	case opening:
		b.page(w, r, l, now)
	default:
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		if leaving {
			b.takeLeave(w, r, l)
		} else {
			b.post(w, r, l, now)
		}
	}
}

// payer is the address by which a request is bounded; "" where nothing is.
func (b *Pages) payer(r *http.Request) string {
	if b.Limits == nil {
		return ""
	}
	return limits.Key(b.Proxies.From(r))
}

func (b *Pages) post(w http.ResponseWriter, r *http.Request, l Link, now time.Time) {
	if err := r.ParseForm(); err != nil {
		b.show(w, http.StatusBadRequest, view{Title: "The form could not be read. Please try again."})
		return
	}
	answer := r.PostForm.Get("answer")
	s, stands := b.find(r.Context(), l)
	if !stands && answer != "not mine" { // which is of the vehicle, whatever stands
		b.show(w, http.StatusOK, view{Title: wordOver, Lead: wordOverLead})
		return
	}
	a := b.about(r.Context(), l, s, now)
	sent := form.Read(r.PostForm, a.Typist)
	all := a.formsOf(answer, sent)
	ev, done, ok := a.event(answer, sent, all)
	if !ok {
		b.again(w, http.StatusUnprocessableEntity, a, all, sent)
		return
	}
	ev, err := intake.Checked(ev)
	if err != nil {
		b.trouble(w, fmt.Errorf("an answer of our own: %w", err))
		return
	}
	became, err := b.Enter(r.Context(), a.Units.Names(), ev)
	b.entered(r, l, ev, &became, err)
	switch {
	case err != nil:
		b.trouble(w, err)
	case became.Before != nil:
		sent.Fault("%s", wordBefore)
		b.again(w, http.StatusConflict, a, all, sent)
	case became.Why != nil:
		sent.Fault(wordNotTaken, became.Why.Refused)
		b.again(w, http.StatusConflict, a, all, sent)
	case became.Waiting:
		b.show(w, http.StatusOK, view{Title: wordStored, Lead: wordLater})
	default:
		b.noted(w, ev, done, &became)
	}
}

// noted thanks for what was taken and says what followed: of work all of it, of an answer
// what its own sentence does not say.
func (b *Pages) noted(w http.ResponseWriter, ev event.Event, done string, became *entry.Became) {
	v := view{Title: wordNoted, Lead: done}
	if ev.Kind == event.ServiceEvent {
		for _, line := range slices.Concat(became.Doubts(), became.Lines(stages.Head)) {
			v.Lines = append(v.Lines, english.Sentence(line))
		}
	}
	b.show(w, http.StatusOK, v)
}

// about is what the forms are about, and how whoever has the link writes.
func (b *Pages) about(ctx context.Context, l Link, s alarm.Listed, now time.Time) *about {
	d, err := b.Fleet.Registered(ctx, l.Vehicle)
	b.failed(l.Vehicle, err)
	p := cmp.Or(b.Person(l.Person), people.Anyone(l.Person))
	return &about{form.TypistOf(p, d.Location(), now, wording.UnitsOf(p, s.Reads)), l, s, d, b.tasks(ctx, l)}
}

// trouble is a fault of ours.
func (b *Pages) trouble(w http.ResponseWriter, err error) {
	b.Log.Error("answering a link", "error", err)
	b.show(w, http.StatusServiceUnavailable, view{Title: wordTrouble})
}

// page shows the alarm with the forms.
func (b *Pages) page(w http.ResponseWriter, r *http.Request, l Link, now time.Time) {
	s, ok := b.find(r.Context(), l)
	if !ok {
		b.show(w, http.StatusOK, view{Title: wordOver, Lead: wordOverLead})
		return
	}
	a := b.about(r.Context(), l, s, now)
	b.show(w, http.StatusOK, b.viewOf(a, a.formsOf("", nil)))
}

// again shows the forms with what was typed, and what is wrong with it.
func (b *Pages) again(w http.ResponseWriter, code int, a *about, all forms, sent *form.Form) {
	v := b.viewOf(a, all)
	v.Title, v.Sent = sent.Title(v.Title), sent
	b.show(w, code, v)
}

func (b *Pages) viewOf(a *about, all forms) view {
	p := cmp.Or(b.Person(a.link.Person), people.Anyone(a.link.Person))
	v := view{Shown: true, Alarm: a.alarm, Fluid: a.fluid(), Forms: all}
	v.Stage = notify.StageWords(a.alarm.To, a.alarm.Standing)
	v.Title, v.Strong, v.Found, v.Figures = notify.Standing(p, cmp.Or(a.alarm.Name, a.link.Vehicle), &a.alarm)
	v.ShelfLimit = english.Sentence(wording.ShelfLimit(a.alarm.To))
	return v
}

func (b *Pages) show(w http.ResponseWriter, code int, v view) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	if err := pageTemplate.Execute(w, v); err != nil {
		b.Log.Info("writing a page", "error", err) // whoever asked is gone
	}
}
