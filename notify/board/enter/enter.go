// Package enter is the pages on which people enter what was read, done, measured and
// answered: a form for each, one vehicle at a time. [entry.Entries] leads each from its form
// to what followed.
package enter

import (
	"context"
	"embed"

	"telltale/engine/intake/job"
	"telltale/engine/stream/service"
	"telltale/engine/whole"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

type site struct{ *entry.Entries }

// Routes are the pages.
func Routes(e *entry.Entries) (out []frame.Route) {
	s := site{e}
	out = append(out, frame.Route{Pattern: "GET /enter", Needs: rights.Reading, Handle: s.which})
	for path, p := range map[string]struct {
		needs  rights.Verb
		handle frame.Handler
	}{
		"reading":  {rights.Reading, s.reading},
		"work":     {rights.Work, s.work},
		"measure":  {rights.Reading, s.measure},
		"replaced": {rights.Work, s.replaced},
		"answer":   {rights.Answer, s.answer},
	} {
		path = "/v/{vehicle}/" + path
		out = append(out, frame.Route{Pattern: "GET " + path, Needs: p.needs, Handle: p.handle}, frame.Route{Pattern: "POST " + path, Needs: p.needs, Handle: entry.Kept(e.Frame, p.handle)})
	}
	return out
}

// asked is the vehicle of a form, and what the service knows of it.
type asked struct {
	frame.Vehicle
	is   whole.Vehicle
	form *form.Form
	r    *frame.Request
}

// ask is the vehicle of the address, with the form that was sent about it.
func (s site) ask(ctx context.Context, r *frame.Request) (*asked, error) {
	v, err := s.Vehicle(ctx, r)
	if err != nil {
		return nil, err
	}
	is, err := s.Whole(ctx, r, v.ID)
	if err != nil {
		return nil, err
	}
	return &asked{v, is, entry.Form(r, v), r}, nil
}

// known is what making an event of what was typed rests on. Nothing may be of a moment that
// has not come.
func (a *asked) known() job.Known {
	return job.Known{Registered: a.VehicleData, First: a.is.First, Reads: a.Units(a.r.Viewer), Now: a.r.Now, Latest: a.r.Now}
}

// knownWith is known with the tasks and follow-ups that there are.
func (s site) knownWith(ctx context.Context, a *asked) (job.Known, error) {
	k := a.known()
	var err error
	k.Has, err = service.Why.Of(ctx, s.Service, service.Question{Vehicle: a.ID})
	return k, err
}

// page is a form's page, without its body.
func (a *asked) page(title string) frame.Page {
	return frame.Page{Title: title, About: a.Title(), Up: frame.Link{Words: a.Title(), Path: frame.Path("v", a.ID)}}
}
