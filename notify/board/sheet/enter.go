package sheet

import (
	"context"
	"html/template"
	"net/http"
	"net/url"
	"slices"

	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/sample"
	desk "telltale/engine/stream/entry"
	"telltale/engine/stream/service"
	"telltale/engine/whole"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
)

// typing is a sheet on its way from paper: the vehicle, the component, its last sheet, and
// the form.
type typing struct {
	frame.Vehicle
	req       *frame.Request
	is        whole.Vehicle
	component *event.ComponentDef
	lines     []sample.Line   // of the component, the latest first
	last      *sample.Verdict // of the laboratory; nil where there is none
	form      *form.Form
	fields    fields
	rows      []*row
}

// The names of fields that pages pass on, and of what the buttons do.
const (
	inComponent, inLaboratory = "component", "laboratory"

	doName     = "do"
	doAdd      = "add"
	doAverages = "averages"
)

// enter is the form in which a laboratory's sheet is typed in.
func (r room) enter(ctx context.Context, req *frame.Request) (*frame.Page, error) {
	v, err := r.Vehicle(ctx, req)
	if err != nil {
		return nil, err
	}
	t := &typing{Vehicle: v, req: req}
	if t.component = t.chosen(); t.component == nil {
		return t.which()
	}
	if err := r.known(ctx, t); err != nil {
		return nil, err
	}
	t.form = entry.Form(req, v)
	if do := req.PostForm.Get(doName); do == doAdd || do == doAverages { // nothing is sent yet
		t.form = form.With(req.PostForm, t.form.Typist)
	}
	t.fields = t.allFields()
	t.rows = t.allRows()
	t.read()
	e := &entry.Entry{Form: t.form, Vehicle: v, Events: t.events,
		Page:   frame.Page{Title: page.Clean("Enter a sample of the "+t.component.Name, page.MaxText), About: v.Title(), Up: frame.Link{Words: v.Title(), Path: frame.Path("v", v.ID)}},
		Fields: func() (template.HTML, error) { return templates.Body("typing", t.shown()) },
		Shown:  t.would}
	return r.entries.Serve(ctx, req, e)
}

// chosen is the component that the address names, or the only one that there is.
func (t *typing) chosen() *event.ComponentDef {
	if len(t.Components) == 1 {
		return &t.Components[0]
	}
	return t.ComponentNamed(t.req.URL.Query().Get(inComponent))
}

// which asks of which component the sample is.
func (t *typing) which() (*frame.Page, error) {
	var all []frame.Link
	for _, c := range t.Components {
		words := c.Name
		if c.Fluid != "" {
			words += " (" + c.Fluid + ")"
		}
		all = append(all, frame.Link{Words: page.Clean(words, page.MaxText), Path: t.at(c.Name, "")})
	}
	p := &frame.Page{Section: frame.Enter, Title: "Enter a sample", About: t.Title(), Lead: wordWhich, Up: frame.Link{Words: t.Title(), Path: frame.Path("v", t.ID)}}
	if all == nil {
		p.Lead = wordNoComponents
	}
	var err error
	p.Body, err = templates.Body("which", all)
	return p, err
}

// at is the form's address, for a component and a laboratory.
func (t *typing) at(component, laboratory string) string {
	q := url.Values{}
	if component != "" {
		q.Set(inComponent, component)
	}
	if laboratory != "" {
		q.Set(inLaboratory, laboratory)
	}
	return frame.Path("v", t.ID, "sample") + "?" + q.Encode()
}

// known asks what the service knows of the vehicle and of the component's sheets.
func (r room) known(ctx context.Context, t *typing) error {
	var err error
	if t.is, err = r.Whole(ctx, t.req, t.ID); err != nil {
		return err
	}
	q := t.req.Question()
	q.Vehicle, q.Component = t.ID, t.component.Name
	if t.lines, err = service.Sampled.Of(ctx, r.Service, q); err != nil {
		return err
	}
	laboratory := t.req.URL.Query().Get(inLaboratory)
	i := slices.IndexFunc(t.lines, func(l sample.Line) bool { return laboratory == "" || l.Laboratory == laboratory })
	if i < 0 {
		return nil
	}
	q.Number = t.lines[i].Number
	sheets, err := service.Samples.Of(ctx, r.Service, q)
	for k := range sheets {
		if sheets[k].Sample == t.lines[i].Sample {
			t.last = &sheets[k]
		}
	}
	return err
}

// events are the sheet as an event.
func (t *typing) events() ([]event.Event, error) {
	d := t.data()
	k := job.Known{Registered: t.VehicleData, First: t.is.First, Reads: t.Units(t.req.Viewer), Now: t.req.Now, Latest: t.req.Now}
	s := job.Sample{Vehicle: t.ID, Drawn: t.form.At(t.fields.day), After: t.fields.After.Ticked(taken)}
	ev, err := s.Of(k, d)
	return []event.Event{ev}, err
}

// would writes the verdict as it would read.
func (t *typing) would(l *desk.Looked) (template.HTML, error) {
	if len(l.Verdicts) == 0 {
		return "", nil
	}
	v := &l.Verdicts[0]
	w := writer{says: saysTo(t.req.Viewer, &t.Vehicle), sheet: sheet{vehicle: t.Vehicle, component: t.component, of: v}, req: t.req, lines: t.lines}
	shown := w.view()
	for i := range shown.Notices {
		shown.Notices[i].Acts = nil
	}
	for i := range shown.Reasons {
		shown.Reasons[i].Acts = nil
	}
	data := struct {
		view
		Lead string
	}{view: shown}
	if v.Number != t.fields.number {
		data.Lead = wordNotLatest
	}
	return templates.Body("would", data)
}

func postAndGet(f *frame.Frame, path string, handle frame.Handler) []frame.Route {
	return []frame.Route{{Pattern: http.MethodGet + " " + path, Needs: rights.Sample, Handle: handle}, {Pattern: http.MethodPost + " " + path, Needs: rights.Sample, Handle: entry.Kept(f, handle), MaxBody: mostTyped}}
}

// mostTyped bounds a sheet with all its rows, in bytes.
const mostTyped = 64 << 10
