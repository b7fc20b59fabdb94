package rulebook

import (
	"context"
	"fmt"
	"maps"
	"net/url"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/reach"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/board/rulebook/ran"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/figure"
	"telltale/rules/told"
)

func badgeOf(stage int) frame.Badge { return frame.BadgeOf(alarm.RuleStages[stage]) }

// shown is one part of the book on its page.
type shown struct {
	Kind, Name string
	Try        string
	Measure    string
	Code       bool // Measure is as written
	Limits     []limit
	Lines      []told.Line
	Figures    figure.Sources
	Usual      []usual
	Cautions   []string
	Text       []line
	File       string
	Cases      []ran.Case
	More       int // cases that were not run
	Places     []place
	List       string // of all places
	Full       bool   // there are more places than are shown
}

// usual is what a baseline says of an analyte.
type usual struct{ Analyte, Mean, Spread, Fresh string }

// place is where it stands or could not be judged.
type place struct {
	reach.Place
	frame.Badge
	Path, Why, Title, Day string
}

// part shows a rule, a task or a baseline.
func (s *site) part(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	b, err := s.inForce(ctx)
	if err != nil {
		return nil, err
	}
	name := r.PathValue("name")
	t := b.teller(r.Viewer)
	part, data := b.find(t, name, r.URL.Query().Get("kind"))
	if part == nil {
		return nil, frame.NotFound
	}
	p := &frame.Page{Section: frame.More, Title: english.Capital(part.Title), About: data.Kind, Up: frame.Link{Words: "Rules", Path: "/rules"}}
	data.Name, data.File, data.Text, data.Figures = name, file(part.At.File), b.lines(part.At), part.Sources
	if data.Kind != isBaseline {
		data.Try = "/rules/try?" + url.Values{"rule": {name}}.Encode()
		p.Lead, p.Missing, err = s.reaches(ctx, name, data.Kind == isTask)
		if err != nil {
			return nil, err
		}
		if err := s.places(ctx, r, &data); err != nil {
			return nil, err
		}
		if data.Cases, data.More, err = s.cases(ctx, b, name, part.At.File); err != nil {
			return nil, err
		}
	}
	p.Work = len(data.Cautions) > 0
	p.Body, err = templates.Body("part", data)
	return p, err
}

func (s *site) reaches(ctx context.Context, name string, task bool) (lead string, missing []int, err error) {
	list, missing, err := s.reach(ctx)
	return reaches(reachOf(list, name, task)), missing, err
}

// find is the part of the name, and what is shown of it; of a baseline only where it is
// asked for, or nothing else has the name.
func (b *book) find(t told.Teller, name, kind string) (*rules.Part, shown) {
	if kind != isBaseline {
		if k := b.Task(name); k != nil {
			return &k.Part, shown{Kind: isTask, Lines: t.Task(k), Cautions: t.Cautions(k.Cautions)}
		}
		if i := slices.IndexFunc(b.Rules, func(r *rules.Rule) bool { return r.Name == name }); i >= 0 {
			r := b.Rules[i]
			out := shown{Kind: isRule, Lines: t.Rule(r), Limits: limits(t, r), Cautions: t.Cautions(told.AllCautions(r))}
			out.Measure, out.Code = told.Measure(r)
			return &r.Part, out
		}
	}
	if i := slices.IndexFunc(b.Baselines, func(bl *rules.Baseline) bool { return bl.Name == name }); i >= 0 {
		bl := b.Baselines[i]
		return &bl.Part, shown{Kind: isBaseline, Lines: t.Baseline(bl), Usual: usualOf(bl)}
	}
	return nil, shown{}
}

// usualOf are the figures of a baseline, an analyte or measure each.
func usualOf(bl *rules.Baseline) (out []usual) {
	names := slices.Concat(slices.Collect(maps.Keys(bl.Mean)), slices.Collect(maps.Keys(bl.Fresh)))
	slices.Sort(names)
	for _, a := range slices.Compact(names) {
		of := func(m map[string]float64) string {
			if v, ok := m[a]; ok {
				return english.Number(v)
			}
			return ""
		}
		title := analytes.Named(a)
		if u := analytes.UnitOf(a); u != "" {
			title += ", " + u
		}
		out = append(out, usual{title, of(bl.Mean), of(bl.Spread), of(bl.Fresh)})
	}
	return out
}

// places fills in where it stands or could not be judged.
func (s *site) places(ctx context.Context, r *frame.Request, data *shown) error {
	q := r.Question()
	q.Rule = data.Name
	list, _, err := frame.Ask(ctx, s.Frame, service.Reached, q) // the page says already what is missing
	if err != nil {
		return err
	}
	for _, one := range list {
		p := place{Place: one, Badge: frame.BadgeOf(one.Stage), Path: frame.Path("v", one.Vehicle), Title: one.Name}
		p.Why = frame.Path("v", one.Vehicle, "why", data.Name)
		if one.Component != "" {
			p.Why += "?" + url.Values{"component": {one.Component}}.Encode()
		}
		if p.Title == "" {
			p.Title = one.Vehicle
		}
		if !one.Since.IsZero() {
			p.Day = r.Viewer.Day(one.Since)
		}
		data.Places = append(data.Places, p)
	}
	data.Full = len(list) == reach.MostPlaces
	view := "/standing"
	if data.Kind == isTask {
		view = "/due"
	}
	data.List = fmt.Sprintf("%s?%s", view, url.Values{"rule": {data.Name}}.Encode())
	return nil
}
