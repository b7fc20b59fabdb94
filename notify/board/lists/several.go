package lists

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	desk "telltale/engine/stream/entry"
	"telltale/engine/stream/service"
	"telltale/engine/whole"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/stages"
	"telltale/rules/english"
)

// stop is a vehicle of which a form for several says something.
type stop struct {
	frame.Vehicle
	is    whole.Vehicle
	field *form.Field // beside which its faults stand
	ev    *event.Event
	lines []string // what would follow
}

// several is a form that says something of several vehicles. Each vehicle's event has an
// identity of its own, by its place in the form, so that one that is sent twice is entered
// once.
type several struct {
	site
	*form.Form
	stops []*stop
	// stored are the events that were entered, not those of an earlier press.
	stored []event.Event
}

const (
	maxStopsRead = 50
	wordOther    = "this form was entered already, with something else in it; open the page again to enter this too"
)

// stopAt is a vehicle of the form, by its name, to do something to it.
func (s site) stopAt(ctx context.Context, r *frame.Request, verb rights.Verb, vehicle string) (*stop, error) {
	v, err := s.VehicleTo(ctx, r, verb, vehicle)
	if err != nil {
		return nil, err
	}
	is, err := s.Whole(ctx, r, v.ID)
	if err != nil {
		return nil, err
	}
	return &stop{Vehicle: v, is: is}, nil
}

// says has the form say an event of the i-th vehicle.
func (f *several) says(r *frame.Request, i int, ev event.Event) {
	ev.ID = event.ID{Source: r.Viewer.Source(), ID: fmt.Sprintf("%s-%d", f.ID, i)}
	ev.Vehicle, ev.Recorded = f.stops[i].ID, ev.Time
	checked, err := intake.Checked(ev)
	if err != nil {
		f.stops[i].field.Fault("%s", err.Error())
		return
	}
	f.stops[i].ev = &checked
}

// look asks what would follow of each, and notes what would be refused or not believed.
func (f *several) look(ctx context.Context, r *frame.Request) error {
	d := desk.Desk{Service: f.Service, Log: f.Log}
	for _, one := range f.stops {
		if one.ev == nil {
			continue
		}
		l, err := d.Look(ctx, r.Viewer.Units().Names(), *one.ev)
		if err != nil {
			return err
		}
		w := &l.Entries[0]
		switch {
		case w.TakenOut:
			one.field.Fault(entry.WordBack)
		case w.Refused != nil && !w.Known:
			one.field.Fault(entry.WordRefused, w.Refused.Refused)
		}
		for _, doubt := range w.Doubts {
			one.field.Doubt("%s", r.Viewer.DatesIn(doubt))
		}
		for _, line := range l.Lines(stages.Head) {
			one.lines = append(one.lines, english.Sentence(r.Viewer.Spelling.Of(r.Viewer.DatesIn(line))))
		}
	}
	return nil
}

// enter enters all that the form says. What is not taken is noted beside its field; what
// was taken before is not entered again.
func (f *several) enter(ctx context.Context, r *frame.Request) error {
	d := desk.Desk{Service: f.Service, Log: f.Log}
	for _, one := range f.stops {
		if one.ev == nil {
			continue
		}
		became, err := d.Enter(ctx, r.Viewer.Units().Names(), *one.ev)
		switch {
		case err != nil:
			return err
		case became.Before != nil:
			one.field.Fault(wordOther)
		case became.Why != nil:
			one.field.Fault(entry.WordRefused, became.Why.Refused)
		case !became.Known():
			f.stored = append(f.stored, *one.ev)
		}
	}
	return nil
}

// serve shows the form, looks at what would follow, or enters it and goes on to what was
// entered. show writes the page's body.
func (f *several) serve(ctx context.Context, r *frame.Request, p frame.Page, show func(looked bool) (*frame.Page, error)) (*frame.Page, error) {
	status, looked := http.StatusOK, false
	if f.Typed() {
		status = http.StatusUnprocessableEntity
		if len(f.Faults()) == 0 {
			if err := f.look(ctx, r); err != nil {
				status = f.trouble(r, err)
			} else {
				looked = true
			}
		}
		switch {
		case len(f.Faults()) > 0:
		case r.PostForm.Get("do") == "look":
			status = http.StatusOK
		case f.Right():
			status = http.StatusConflict
			if err := f.enter(ctx, r); err != nil {
				status = f.trouble(r, err)
			} else if len(f.Faults()) == 0 {
				f.note(r)
				return &frame.Page{To: f.entered(), Entered: f.stored, Nothing: f.stored == nil}, nil
			}
		}
	}
	out, err := show(looked)
	if err == nil {
		out.Status, out.Title, out.Entered = status, f.Title(p.Title), f.stored
	}
	return out, err
}

// trouble keeps what was typed while something does not answer; sent again, what was entered
// is not entered twice.
func (f *several) trouble(r *frame.Request, err error) (status int) {
	f.Logger.Error("entering", "page", r.URL.Path, "error", err)
	f.Form.Fault(entry.WordTrouble)
	return http.StatusServiceUnavailable
}

// note keeps what was entered.
func (f *several) note(r *frame.Request) {
	var facts []fact
	for _, one := range f.stops {
		if one.ev != nil {
			facts = append(facts, one.entry(r, one.ev))
		}
	}
	f.done.Note(event.ID{Source: r.Viewer.Source(), ID: f.ID}, facts)
}

// entered is the address of what was entered.
func (f *several) entered() string {
	v := url.Values{}
	for _, one := range f.stops {
		if one.ev != nil {
			v.Add("v", one.ID)
		}
	}
	return frame.Path("several", f.ID) + "?" + v.Encode()
}

// follow are what would follow, a group for each vehicle.
func (f *several) follow() (out []group) {
	for _, one := range f.stops {
		g := group{Heading: page.Clean(one.Title(), 80)}
		for _, line := range one.lines {
			g.Lines = append(g.Lines, page.Line{Text: page.Clean(line, page.MaxText)})
		}
		if len(g.Lines) > 0 {
			out = append(out, g)
		}
	}
	return out
}

// severalEntered says what a form for several vehicles entered, each with the page on which
// it can be taken back.
func (s site) severalEntered(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	id, ids := r.PathValue("id"), r.URL.Query()["v"]
	if len(ids) == 0 || len(ids) > maxTicked {
		return nil, frame.NotFound
	}
	out, known := s.done.Of(event.ID{Source: r.Viewer.Source(), ID: id})
	if !known {
		for _, vehicle := range ids {
			list, err := s.inLog(ctx, r, vehicle, id)
			if err != nil {
				return nil, err
			}
			out = append(out, list...)
		}
	}
	if len(out) == 0 {
		return nil, frame.NotFound
	}
	body, err := templates.Body("entered", out)
	return &frame.Page{Section: frame.Enter, Title: "Entered", Lead: english.Counted(len(out), "entry", "entries") + ". Each can be taken back on its page.", Body: body}, err
}

// inLog is what the form entered for a vehicle, as the log has it.
func (s site) inLog(ctx context.Context, r *frame.Request, vehicle, id string) (out []fact, err error) {
	one, err := s.stopAt(ctx, r, rights.Reading, vehicle)
	if err != nil {
		return nil, err
	}
	list, err := service.Entries.Of(ctx, s.Service, service.Question{Vehicle: one.ID, ID: id + "-"})
	for _, e := range list {
		// A driver sees what they entered themselves.
		if ev, bad := intake.Decode(e.Event); bad == nil && (ev.ID.Source == r.Viewer.Source() || r.MayHere(rights.See, one.Vehicle)) {
			out = append(out, one.entry(r, &ev))
		}
	}
	return out, err
}

// entry says what was entered for the vehicle.
func (o *stop) entry(r *frame.Request, ev *event.Event) fact {
	text := follows.What(ev, o.Units(r.Viewer)) + ", " + r.Viewer.Date(ev.Time.In(o.Where).Format(time.DateOnly))
	return fact{page.Clean(o.Title(), 80), page.Clean(english.Sentence(text), 300), frame.Path("v", o.ID, "entered", ev.ID.ID)}
}
