package lists

import (
	"context"
	"errors"
	"net/http"
	"strconv"

	"telltale/engine/intake/job"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// acknowledge says of several alarms of one rule at once that somebody knows of them.
func (s site) acknowledge(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	from := r.URL.Query()
	if r.Method == http.MethodPost {
		from = r.PostForm
	}
	lines, p, err := ticked(from, frame.Standing, standingPath)
	if lines == nil {
		return p, err
	}
	if p, err := byRule(lines); p != nil || err != nil {
		return p, err
	}
	f := &several{site: s, Form: formOf(r)}
	why := f.Field("why", "Why, or what was found (optional)")
	data := ackPage{Form: f.Form, Why: why}
	for i, l := range lines {
		one, err := s.stopAt(ctx, r, rights.Answer, l.Vehicle)
		if err != nil {
			return nil, err
		}
		f.stops = append(f.stops, one)
		one.field = f.Field("line"+strconv.Itoa(i), page.Clean(one.Title(), 80))
		ev, err := job.Answer{Vehicle: one.ID, Answer: "acknowledge", About: l.Rule, Component: l.Component, By: r.Viewer.ID, Why: why.Text()}.Event(one.known(r), one.is.Alarms)
		if e, ok := errors.AsType[*job.Error](err); ok {
			one.field.Fault("%s", e.Error())
		} else if err != nil {
			return nil, err
		} else {
			f.says(r, i, ev)
		}
		data.Lines = append(data.Lines, ackLine{l.String(), one.field, page.Clean(l.Component, 80)})
	}
	title := "Acknowledge " + english.Counted(len(lines), "alarm", "alarms")
	pg := frame.Page{Section: frame.Standing, Title: title, Lead: page.Clean(english.Sentence(s.titleOf(r, f, lines[0])), 200), Up: frame.Link{Words: frame.Standing, Path: standingPath}}
	return f.serve(ctx, r, pg, func(bool) (*frame.Page, error) {
		pg.Body, err = templates.Body("acknowledge", data)
		return &pg, err
	})
}

// titleOf is what people call the rule.
func (s site) titleOf(r *frame.Request, f *several, l line) string {
	for i := range f.stops[0].is.Alarms {
		if t := &f.stops[0].is.Alarms[i].Transition; t.Rule == l.Rule {
			return wording.Title(r.Viewer.Person, t.Rule, t.Title)
		}
	}
	return l.Rule
}

type ackPage struct {
	Form  *form.Form
	Why   *form.Field
	Lines []ackLine
}

type ackLine struct {
	Value     string
	Field     *form.Field
	Component string
}

// byRule asks which rule is meant where lines of several were ticked; nil where it is one.
func byRule(lines []line) (*frame.Page, error) {
	order, by := grouped(lines, func(l line) string { return l.Rule })
	if len(order) == 1 {
		return nil, nil
	}
	var acts []act
	for _, rule := range order {
		acts = append(acts, act{page.Clean(rule, 80) + ", " + english.Counted(len(by[rule]), "alarm", "alarms"), ackPath(by[rule])})
	}
	return which(frame.Standing, standingPath, "Which rule?", "Alarms of one rule can be acknowledged together, and alarms of several were ticked. Begin with one of them.", acts)
}
