// Package entry leads what somebody types into a page of the board to what follows of it:
// the form, a look at what would follow, the entry, and the page of what did follow, on
// which it can be taken back.
//
// A page that enters something reads its form and hands over an [Entry]:
//
//	func (s site) reading(ctx context.Context, r *frame.Request) (*frame.Page, error) {
//		v, err := s.Vehicle(ctx, r)
//		if err != nil {
//			return nil, err
//		}
//		f := entry.Form(r, v)
//		… fields …
//		return s.entries.Serve(ctx, r, &entry.Entry{Form: f, Vehicle: v, Page: …, Events: …, Fields: …})
//	}
//
// and is served for GET and POST alike. Opening it changes nothing. What is entered is
// named after its form, so that sending it twice enters it once.
package entry

import (
	"cmp"
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"time"

	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	desk "telltale/engine/stream/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/stages"
	"telltale/rules/english"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Entries takes what the pages of a board enter.
type Entries struct {
	*frame.Frame
	desk    desk.Desk
	noticed Latest[notice]
}

// New takes entries for the pages of a frame.
func New(f *frame.Frame) *Entries {
	return &Entries{Frame: f, desk: desk.Desk{Service: f.Service, Log: f.Log}}
}

// Entry is a form on its way.
type Entry struct {
	Form    *form.Form
	Vehicle frame.Vehicle
	// Page is the page of the form, without its body.
	Page frame.Page
	// Verb stands on its button; "Enter it" where empty.
	Verb string
	// Events are what the form says, once nothing in it is wrong; their identity and source are
	// filled in. It may note faults and doubts in the form; then none need be given back. A
	// vehicle of theirs is that of the entry. An error of [job] or [intake] is of what was
	// typed, and noted in the form.
	Events func() ([]event.Event, error)
	// Fields writes the fields of the form, when all faults are known.
	Fields func() (template.HTML, error)
	// Field is the one in which a doubt about the i-th event is shown; nil, or nil from it,
	// for a doubt of the form as a whole.
	Field func(i int) *form.Field
	// Shown writes what would follow in a page's own way, below the usual lines; may be nil.
	Shown func(l *desk.Looked) (template.HTML, error)
}

// Form is the form that a request brings, or an empty one with what its address fills in.
func Form(r *frame.Request, v frame.Vehicle) *form.Form {
	who := form.TypistOf(r.Viewer.Person, v.Where, r.Now, v.Units(r.Viewer))
	if r.Method == http.MethodPost {
		return form.Read(r.PostForm, who)
	}
	return form.With(r.URL.Query(), who)
}

// What a form says of itself, whatever it enters.
const (
	WordRefused = "it would not be taken: %s"
	WordBack    = "what this form entered was taken back; open the page again to enter it anew"
	WordTrouble = "this does not work just now. What you typed is still here: send it again in a minute"
)

const (
	wordEnter  = "Enter it"
	wordBefore = "this form was entered already, with something else in it: %s; open the page again to enter this too"
)

// The names of the buttons, and what they do.
const (
	doName = "do"
	doLook = "look"
)

// Serve shows the form; a form that was sent it looks at and enters.
func (s *Entries) Serve(ctx context.Context, r *frame.Request, e *Entry) (*frame.Page, error) {
	if !e.Form.Typed() {
		return s.page(r, e, nil, http.StatusOK)
	}
	events, err := s.events(r, e)
	if err != nil {
		return nil, err
	}
	if len(events) == 0 || !e.Form.Right() && len(e.Form.Faults()) > 0 {
		return s.page(r, e, nil, http.StatusUnprocessableEntity)
	}
	looked, err := s.desk.Look(ctx, r.Viewer.Units().Names(), events...)
	if err != nil {
		return s.trouble(r, e, err)
	}
	s.doubt(e, &looked)
	switch {
	case len(e.Form.Faults()) > 0:
		return s.page(r, e, nil, http.StatusConflict)
	case looked.Known(): // sent before, by a second press: nothing is asked back of that
		return s.enter(ctx, r, e, events)
	case r.PostForm.Get(doName) == doLook:
		return s.page(r, e, &looked, http.StatusOK)
	case !e.Form.Right():
		return s.page(r, e, &looked, http.StatusUnprocessableEntity)
	}
	return s.enter(ctx, r, e, events)
}

// Named is the identity of the i-th event of a form, from 0. It is numbered even where it is
// the only one: a form that is sent again with more in it is still the same form.
func Named(f *form.Form, i int) string { return fmt.Sprintf("%s-%d", f.ID, i+1) }

// events are those of the form, named after it, as they would be stored.
func (s *Entries) events(r *frame.Request, e *Entry) ([]event.Event, error) {
	if len(e.Form.Faults()) > 0 {
		return nil, nil
	}
	list, err := e.Events()
	if err != nil || len(e.Form.Faults()) > 0 {
		return nil, wrong(e.Form, err)
	}
	for i := range list {
		ev := &list[i]
		ev.ID, ev.Vehicle, ev.Recorded = event.ID{Source: r.Viewer.Source(), ID: Named(e.Form, i)}, e.Vehicle.ID, ev.Time
		if *ev, err = intake.Checked(*ev); err != nil {
			return nil, wrong(e.Form, err)
		}
	}
	return list, nil
}

// wrong notes in the form what keeps it from being an event; any other error is given back.
func wrong(f *form.Form, err error) error {
	if e, ok := errors.AsType[*job.Error](err); ok {
		f.Fault("%s", e.Error())
		return nil
	}
	if e, ok := errors.AsType[*intake.Fault](err); ok {
		f.Fault("%s", e.Error())
		return nil
	}
	return err
}

// doubt notes in the form what the fold would refuse, and what it would not believe.
func (s *Entries) doubt(e *Entry, l *desk.Looked) {
	for i := range l.Entries {
		w := &l.Entries[i]
		switch {
		case w.TakenOut:
			e.Form.Fault(WordBack)
		case w.Known: // sent before: it is for the desk to say whether it is the same
		case w.Refused != nil:
			e.Form.Fault(WordRefused, w.Refused.Refused)
		}
		for _, d := range w.Doubts {
			if e.Field != nil && e.Field(i) != nil {
				e.Field(i).Doubt("%s", e.read(d))
			} else {
				e.Form.Doubt("%s", e.read(d))
			}
		}
	}
}

// read is a text of the service in the person's order of dates.
func (e *Entry) read(text string) string { return e.Form.DatesIn(text) }

// enter stores what was typed, and goes on to what followed.
func (s *Entries) enter(ctx context.Context, r *frame.Request, e *Entry, events []event.Event) (*frame.Page, error) {
	became, err := s.desk.Enter(ctx, r.Viewer.Units().Names(), events...)
	switch {
	case err != nil:
		return s.trouble(r, e, err)
	case became.Before != nil:
		e.Form.Fault(wordBefore, e.read(follows.What(became.Before, follows.Said(became.Would))))
	case became.Why != nil:
		e.Form.Fault(WordRefused, became.Why.Refused)
	}
	if len(e.Form.Faults()) > 0 {
		return s.page(r, e, nil, http.StatusConflict)
	}
	if !became.Known() {
		s.noticed.Note(event.ID{Source: r.Viewer.Source(), ID: e.Form.ID}, notice{done{events: became.Events, stored: time.Now()}, e.Vehicle.ID, became.Lines(stages.Head)})
	}
	p := &frame.Page{To: frame.Path("v", e.Vehicle.ID, "entered", e.Form.ID), Nothing: became.Known()}
	if !p.Nothing {
		p.Entered = events
	}
	return p, nil
}

// trouble keeps what was typed while something does not answer.
func (s *Entries) trouble(r *frame.Request, e *Entry, err error) (*frame.Page, error) {
	s.Logger.Error("entering", "page", r.URL.Path, "error", err)
	e.Form.Fault(WordTrouble)
	return s.page(r, e, nil, http.StatusServiceUnavailable)
}

// shown is what the template of a form gets.
type shown struct {
	Form   *form.Form
	Verb   string
	Looked bool
	Lines  []string // what would follow
	Own    template.HTML
	Fields template.HTML
}

// page is the page of the form, with what would follow where somebody looked.
func (s *Entries) page(r *frame.Request, e *Entry, l *desk.Looked, status int) (*frame.Page, error) {
	p, data := e.Page, shown{Form: e.Form, Verb: e.Form.Verb(cmp.Or(e.Verb, wordEnter)), Looked: l != nil}
	var err error
	if data.Fields, err = e.Fields(); err != nil {
		return nil, err
	}
	if l != nil {
		data.Lines = s.said(r, l.Lines(stages.Head))
		if e.Shown != nil {
			if data.Own, err = e.Shown(l); err != nil {
				return nil, err
			}
		}
	}
	p.Section, p.Title, p.Status, p.Work = cmp.Or(p.Section, frame.Enter), e.Form.Title(p.Title), status, true
	p.Body, err = templates.Body("entry", data)
	return &p, err
}

// said writes lines of the service as whoever looks reads them.
func (s *Entries) said(r *frame.Request, lines []string) (out []string) {
	for _, line := range lines {
		out = append(out, english.Sentence(r.Viewer.Spelling.Of(r.Viewer.DatesIn(line))))
	}
	return out
}
