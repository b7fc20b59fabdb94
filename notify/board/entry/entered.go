package entry

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	desk "telltale/engine/stream/entry"
	"telltale/engine/stream/service"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/notify/stages"
	"telltale/rules/english"
)

// Routes are the page of what followed of an entry.
func (s *Entries) Routes() []frame.Route {
	return []frame.Route{
		{Pattern: "GET /v/{vehicle}/entered/{id}", Needs: rights.Reading, Handle: s.entered},
		{Pattern: "POST /v/{vehicle}/entered/{id}", Needs: rights.TakeBackToday, Handle: s.entered},
	}
}

const (
	wordOthers  = "%s entered it, who can take it back; so can an operator."
	wordPast    = "What was entered on an earlier day an operator can take back."
	wordGone    = "Taken back. It counts for nothing any more."
	wordNotHeld = "The service did not take it: %s"
	wordOnlyOwn = "This is not yours to take back."
)

// done is an entry that lies in the log, perhaps of several events.
type done struct {
	events []event.Event
	stored time.Time
	gone   bool // taken back
}

// entered says what followed of an entry, and takes it back.
func (s *Entries) entered(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	v, err := s.Vehicle(ctx, r)
	if err != nil {
		return nil, err
	}
	d, err := s.find(ctx, r, v)
	if err == nil && d.events[0].ID.Source != r.Viewer.Source() && !r.MayHere(rights.See, v) {
		err = frame.NotFound // a driver sees what they entered themselves
	}
	if err != nil {
		return nil, err
	}
	f := Form(r, v)
	if r.Method == http.MethodPost {
		if s.notTheirs(r, v, d) != "" {
			return nil, &frame.Fault{Status: http.StatusForbidden, Title: wordOnlyOwn, Words: s.notTheirs(r, v, d)}
		}
		return s.takeBack(ctx, r, v, d, f)
	}
	return s.after(ctx, r, v, d, f)
}

// find is the entry of that identity, or all events of the form of that one. Two
// sources may use the same one: by= in the address says whose is meant, else it is that of
// whoever looks, else the first.
func (s *Entries) find(ctx context.Context, r *frame.Request, v frame.Vehicle) (done, error) {
	id, by := r.PathValue("id"), r.URL.Query().Get("by")
	if n, ok := s.noticed.Of(event.ID{Source: cmp.Or(by, r.Viewer.Source()), ID: id}); ok && n.vehicle == v.ID {
		return n.done, nil
	}
	list, err := service.Entries.Of(ctx, s.Service, service.Question{Vehicle: v.ID, ID: id})
	if err != nil {
		return done{}, err
	}
	all := map[string]*done{}
	first := by
	for _, e := range list {
		ev, err := intake.Decode(e.Event)
		if err != nil || ev.ID.ID != id && !partOf(ev.ID.ID, id) {
			continue
		}
		d := all[ev.ID.Source]
		if d == nil {
			d = &done{}
			all[ev.ID.Source] = d
		}
		d.events, d.stored, d.gone = append(d.events, ev), e.Stored, e.TakenOut
		first = cmp.Or(first, ev.ID.Source)
	}
	d := all[r.Viewer.Source()]
	if by != "" || d == nil {
		d = all[first]
	}
	if d == nil {
		return done{}, frame.NotFound
	}
	slices.SortFunc(d.events, func(a, b event.Event) int { return strings.Compare(a.ID.ID, b.ID.ID) })
	return *d, nil
}

// partOf reports whether an identity is that of one of several events of a form.
func partOf(id, form string) bool {
	n, ok := strings.CutPrefix(id, form+"-")
	return ok && len(form) == 20 && len(n) <= 2
}

// notTheirs is why whoever looks may not take the entry back; "" where they may.
func (s *Entries) notTheirs(r *frame.Request, v frame.Vehicle, d done) string {
	by := d.events[0].ID.Source
	switch {
	case r.MayTakeBackAny(v):
	case by != r.Viewer.Source():
		return strings.Replace(wordOthers, "%s", s.who(by), 1)
	case r.Viewer.SignedIn != nil && r.MayHere(rights.TakeBack, v):
	case d.stored.In(v.Where).Format(time.DateOnly) != time.Now().In(v.Where).Format(time.DateOnly):
		return wordPast // by the clock of the log, which stamps what it stores, and not by that of the events
	}
	return ""
}

// who is whose entry it is, as people know them.
func (s *Entries) who(source string) string {
	if id, ok := strings.CutPrefix(source, "/people/"); ok {
		if p := s.People().Person(id); p != nil {
			return p.Name
		}
	}
	return "Somebody else (" + source + ")"
}

// takeBack takes the events of an entry out.
func (s *Entries) takeBack(ctx context.Context, r *frame.Request, v frame.Vehicle, d done, f *form.Form) (*frame.Page, error) {
	var voids []event.Event
	for _, ev := range d.events {
		data := event.VoidData(ev.ID)
		at := r.Now.UTC().Truncate(time.Second)
		void, err := intake.Checked(event.Event{ID: event.ID{Source: r.Viewer.Source(), ID: voidOf(v, ev.ID)}, Kind: event.VoidEvent, Vehicle: v.ID, Time: at, Recorded: at, Data: &data})
		if err != nil {
			return nil, err
		}
		voids = append(voids, void)
	}
	became, err := s.desk.Enter(ctx, r.Viewer.Units().Names(), voids...)
	if err == nil && became.Why != nil && became.Before == nil {
		f.Fault(wordNotHeld, became.Why.Refused)
		return s.after(ctx, r, v, d, f)
	}
	if err != nil {
		return nil, err
	}
	if !became.Known() {
		s.noticed.Note(voided(d), notice{vehicle: v.ID, lines: became.Lines(stages.Head)})
	}
	p := &frame.Page{To: r.URL.RequestURI(), Nothing: became.Known()}
	if !p.Nothing {
		p.Entered = voids
	}
	return p, nil
}

// voidOf names what takes an event back, the same each time. Its identity is not enough,
// which another source may use too, or the same for another vehicle; and with its source it
// may be too long for a name.
func voidOf(v frame.Vehicle, id event.ID) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%q %q %q", v.ID, id.Source, id.ID))
	return "void-" + hex.EncodeToString(sum[:10])
}

// voided is under what is kept what followed of taking an entry back.
func voided(d done) event.ID {
	return event.ID{Source: "void " + d.events[0].ID.Source, ID: d.events[0].ID.ID}
}

// after is what the template of the page of what followed gets.
type after struct {
	Form          *form.Form
	Lines, Doubts []string
	Now           bool // Lines say how it stands now, and not what followed
	Waiting       bool
	TakeBack      bool
	Why           string // why it cannot be taken back
	Vehicle, Name string
	Sample        string // the page of the sample that was entered; "" for none
	Due           bool   // there is a way to the due list
}

// after is the page of what followed.
func (s *Entries) after(ctx context.Context, r *frame.Request, v frame.Vehicle, d done, f *form.Form) (*frame.Page, error) {
	l, err := s.desk.Look(ctx, r.Viewer.Units().Names(), d.events...)
	if err != nil {
		return nil, err
	}
	d.gone = d.gone || slices.ContainsFunc(l.Entries, func(e engine.WouldEntry) bool { return e.TakenOut })
	data := after{Form: f, Vehicle: frame.Path("v", v.ID), Name: v.Title(), Due: r.Leads("/due")}
	p := &frame.Page{Section: frame.Enter, Title: "Entered", About: v.Title(), Up: frame.Link{Words: v.Title(), Path: data.Vehicle}, Lead: s.whatWas(r, v, &l)}
	switch {
	case d.gone:
		p.Title, p.Lead = "Taken back", p.Lead+" "+wordGone
	case l.Known():
		data.Doubts = s.said(r, l.Doubts())
	case l.Refused() != nil:
		p.Title, p.Lead = "Not taken", p.Lead+" "+s.said(r, []string{"it was not taken: " + l.Refused().Refused})[0]
	default:
		data.Waiting = true
	}
	data.Lines, data.Now = s.followed(r, &l, d)
	if !d.gone && l.Known() && r.MayHere(rights.See, v) {
		data.Sample = sampleOf(v, d.events)
	}
	if !d.gone {
		data.Why = s.notTheirs(r, v, d)
		data.TakeBack = data.Why == ""
	}
	p.Body, err = templates.Body("entered", data)
	return p, err
}

// sampleOf is the page of a laboratory's sheet among the events; "" where there is none.
func sampleOf(v frame.Vehicle, events []event.Event) string {
	for i := range events {
		d, ok := events[i].Data.(*event.SampleData)
		if !ok || d.ByHand() {
			continue
		}
		return frame.SamplePath(v.ID, d.Component, d.Number, events[i].Time.In(v.Where).Format(time.DateOnly))
	}
	return ""
}

// followed is what followed of an entry, or of its being taken back; where that is not
// known any more, how things stand now.
func (s *Entries) followed(r *frame.Request, l *desk.Looked, d done) (lines []string, now bool) {
	id := event.ID{Source: d.events[0].ID.Source, ID: r.PathValue("id")}
	if d.gone {
		id = voided(d)
	}
	n, known := s.noticed.Of(id)
	if !known && !d.gone && l.Known() {
		return s.said(r, l.Lines(stages.Head)), true
	}
	return s.said(r, n.lines), false
}

// whatWas is the entry in a sentence, with the day it is of.
func (s *Entries) whatWas(r *frame.Request, v frame.Vehicle, l *desk.Looked) string {
	var parts []string
	for i := range l.Events {
		parts = append(parts, follows.What(&l.Events[i], follows.Said(l.Would)))
	}
	day := l.Events[0].Time.In(v.Where)
	return s.said(r, []string{english.List("and", parts) + ", " + day.Format(time.DateOnly)})[0]
}
