package sheet

import (
	"context"
	"fmt"
	"net/url"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/record"
	"telltale/engine/sample"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// view is what the template gets.
type view struct {
	Vehicle string // on paper, which has no way back to it
	Acts    []frame.Link
	Notices []notice
	Reasons []reason
	Further string
	Safety  []string
	// Facts are where the metals may come from, and what is to follow; Offer what the forecast
	// offers.
	Facts    []fact
	Offer    *offer
	Chart    *chartView
	Measured []page.Line
	Results  []result
	Unseen   []page.Line
	Made     []madeView
	Earlier  []line
	Kept     string
	Notes    []string
}

// notice is what to know before all else.
type notice struct {
	Text string
	Acts []frame.Link
}

// offer is another point for the work that renews the fluid.
type offer struct {
	Says   string
	Accept string // the form in which it is accepted; "" for who may not
}

// sample is the page of a sample, and of a component's latest.
func (r room) sample(ctx context.Context, req *frame.Request) (*frame.Page, error) {
	s, err := r.meant(ctx, req)
	if err != nil {
		return nil, err
	}
	p := &frame.Page{Section: frame.Vehicles, Title: page.Clean("Samples of the "+s.component.Name, page.MaxText), About: s.vehicle.Title(),
		Up: frame.Link{Words: s.vehicle.Title(), Path: frame.Path("v", s.vehicle.ID)}, Watch: s.vehicle.ID}
	var enter []frame.Link
	if req.MayHere(rights.Sample, s.vehicle) {
		enter = append(enter, frame.Link{Words: "Enter a sample", Path: frame.Path("v", s.vehicle.ID, "sample") + "?" + url.Values{"component": {s.component.Name}}.Encode()})
	}
	if s.of == nil {
		if p.Lead, err = r.without(ctx, s); err != nil {
			return nil, err
		}
		p.Body, err = templates.Body("none", enter)
		return p, err
	}
	q := req.Question()
	q.Vehicle, q.Component = s.vehicle.ID, s.component.Name
	lines, err := service.Sampled.Of(ctx, r.Service, q)
	if err != nil {
		return nil, err
	}
	standing, err := service.Alarms.Of(ctx, r.Service, q)
	if err != nil {
		return nil, err
	}
	w := writer{says: saysTo(req.Viewer, &s.vehicle), sheet: s, req: req, lines: lines, standing: standing}
	p.Title, p.Lead, p.Work = w.title(), w.ours(s.of.SummaryBy(stages.Of(s.of.Stage).Head)), true
	v := w.view()
	v.Acts = enter
	p.Body, err = templates.Body("sample", v)
	return p, err
}

// without says why there is no sample to show.
func (r room) without(ctx context.Context, s sheet) (string, error) {
	if s.vehicle.Retired {
		return wordRetired, nil
	}
	whole, err := service.Vehicle.Of(ctx, r.Service, service.Question{Vehicle: s.vehicle.ID})
	if err != nil {
		return "", err
	}
	if len(whole) > 0 && whole[0].Book == "" {
		return wordNoRules, nil
	}
	return page.Clean(fmt.Sprintf(wordNone, s.component.Name), page.MaxText), nil
}

// writer writes one sheet for whoever looks.
type writer struct {
	says
	sheet
	req      *frame.Request
	lines    []sample.Line
	standing []alarm.Listed
}

// line is that of the sample in the list.
func (w *writer) line() *sample.Line {
	for i := range w.lines {
		if w.lines[i].Sample == w.of.Sample {
			return &w.lines[i]
		}
	}
	return &sample.Line{Component: w.of.Component, Number: w.of.Number, Drawn: w.of.Drawn} // taken out just now
}

func (w *writer) title() string {
	return w.text(fmt.Sprintf("Sample %s of the %s, drawn on %s", w.of.Number, w.of.Component, w.Date(w.of.Drawn)))
}

func (w *writer) view() view {
	parts := append(w.of.Sources(), w.of.Next()...)
	if w.of.Offer == nil {
		parts = append(parts, w.of.Offered()...)
	}
	v := view{Vehicle: w.text(w.vehicle.Label()), Notices: w.notices(), Reasons: w.reasons(), Safety: w.safety(), Facts: w.facts(parts), Offer: w.offer(),
		Chart: w.chart(), Measured: w.says.lines(w.of.Measured()), Results: w.results(), Unseen: w.says.unseen(w.of.Unseen()),
		Made: w.made(), Earlier: w.listed()}
	if n := w.of.Further; n > 0 {
		v.Further = fmt.Sprintf("And %d more.", n)
	}
	if len(w.lines) >= record.KeptSamples {
		v.Kept = fmt.Sprintf(wordKept, record.KeptSamples)
	}
	for _, n := range w.of.Notes {
		if n != w.of.Doubt {
			v.Notes = append(v.Notes, english.Ended(w.ours(n)))
		}
	}
	return v
}

// notices say that the sheet is a corrected one, an earlier one, or perhaps another's.
func (w *writer) notices() (out []notice) {
	if w.of.Doubt != "" {
		n := notice{Text: w.ours(w.of.Doubt)}
		if w.req.MayTakeBackAny(w.vehicle) || w.of.Sample.Source == w.req.Viewer.Source() {
			n.Acts = []frame.Link{{Words: "This is another vehicle's", Path: w.entered()}}
		}
		out = append(out, n)
	}
	if w.of.Earlier && len(w.lines) > 0 {
		latest := &w.lines[0]
		out = append(out, notice{wordEarlier, []frame.Link{{Words: "The latest sample, of " + w.Date(latest.Drawn), Path: path(w.vehicle.ID, latest)}}})
	}
	if w.of.Corrected {
		out = append(out, notice{Text: fmt.Sprintf(wordCorrected, w.of.Revision)})
	}
	return out
}

// entered is the page of the entry, on which it can be taken back.
func (w *writer) entered() string {
	return frame.Path("v", w.vehicle.ID, "entered", w.of.Sample.ID)
}

func (w *writer) offer() *offer {
	o := w.of.Offer
	if o == nil {
		return nil
	}
	out := &offer{Says: w.ours(english.Sentence(o.Says))}
	if w.req.MayHere(rights.Postpone, w.vehicle) {
		out.Accept = w.answer("accept", o.Task)
	}
	return out
}

// answer opens the form of an answer about the component.
func (w *writer) answer(answer, rule string) string {
	return frame.Path("v", w.vehicle.ID, "answer") + "?" + url.Values{"answer": {answer}, "rule": {rule}, "component": {w.of.Component}}.Encode()
}

// reason is what stands, as mails tell it: what to do first.
type reason struct {
	frame.Badge
	Heading, Do string
	Facts       []page.Line
	Acts        []frame.Link
}

func (w *writer) reasons() (out []reason) {
	for i := range w.of.Reasons {
		r := w.of.Reasons[i]
		t := w.Spelled(&alarm.Transition{Rule: r.Rule, Title: r.Title, Message: r.Message, Advise: r.Advise, PointsTo: r.PointsTo}, w.vehicle.Title())
		r.PointsTo = t.PointsTo
		row := reason{Badge: frame.BadgeOf(r.Stage), Heading: english.Capital(w.text(wording.TitleOf(t))),
			Do:    w.text(w.DatesIn(english.Sentences(wording.DoFirst(false, false, r.Stage, t.Advise)))),
			Facts: []page.Line{{Label: "Found", Text: english.Sentence(w.text(w.DatesIn(wording.MessageOf(t))))}}, Acts: w.acts(&r)}
		row.Facts = append(row.Facts, w.says.lines(r.Found())...)
		out = append(out, row)
	}
	return out
}

// safety is what to mind at all that is to be done, each once.
func (w *writer) safety() (out []string) {
	for i := range w.of.Reasons {
		r := &w.of.Reasons[i]
		for _, c := range w.CautionsOf(r.Cautions, r.OwnCautions) {
			if c = w.text(c); !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}

// acts are what can be done about what a sheet raised; of an earlier one nothing.
func (w *writer) acts(r *sample.Reason) (out []frame.Link) {
	if w.of.Earlier {
		return nil
	}
	for _, s := range w.standing {
		if s.Rule == r.Rule && s.Component == w.of.Component && w.req.MayHere(rights.Answer, w.vehicle) {
			switch s.Standing {
			case alarm.Unacknowledged, alarm.Returned:
				out = append(out, frame.Link{Words: "Acknowledge", Path: w.answer("acknowledge", r.Rule)})
			case alarm.Shelved:
				out = append(out, frame.Link{Words: "Bring back", Path: w.answer("unshelve", r.Rule)})
			}
		}
	}
	return append(out, frame.Link{Words: "Why", Path: frame.Path("v", w.vehicle.ID, "why", r.Rule) + "?" + url.Values{"component": {w.of.Component}}.Encode()})
}
