package operator

import (
	"context"
	"net/url"
	"slices"
	"strings"

	"telltale/engine/fleet"
	"telltale/engine/lab"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// group is what is usual in one group of the fleet's samples.
type group struct {
	Baseline, Path, Of string
	Samples, Age       string
	Drawn, Since       string
	Rules              []link
	Usual              []usual
	NotUsed            []notUsed
}

type link struct{ Name, Path string }

// usual is one analyte of a group.
type usual struct{ Name, N, Mean, Spread, Most string }

// notUsed is an analyte that nothing is judged by, and why.
type notUsed struct{ Name, N, Why string }

// groupsAPage bounds the groups on a page; each has a table.
const groupsAPage = 10

// baselines are what is usual in this fleet, by its own samples.
func (s *site) baselines(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	p := &frame.Page{Section: frame.More, Title: "What is usual in this fleet", Lead: "By its own samples. Each group is compared with itself alone."}
	list, err := service.Baselines.Of(ctx, s.Service, service.Question{})
	if err != nil {
		return nil, err
	}
	reach, missing, err := frame.Ask(ctx, s.Frame, service.Reach, service.Question{})
	if err != nil {
		return nil, err
	}
	p.Missing = missing
	by := map[string][]link{}
	for _, part := range reach {
		for _, name := range part.Baselines {
			by[name] = append(by[name], link{part.Name, frame.Path("rules", part.Name)})
		}
	}
	q := r.URL.Query()
	list = slices.DeleteFunc(list, func(l fleet.Listing) bool {
		return !strings.Contains(english.Folded(l.Baseline+" "+strings.Join(l.Of, " ")), english.Folded(q.Get("q")))
	})
	data := struct {
		Q, Count, Back, Next string
		Size                 int
		Groups               []group
	}{Q: q.Get("q"), Count: english.Counted(len(list), "group", "groups"), Size: groupsAPage}
	key := func(l fleet.Listing) string { return l.Baseline + "\n" + strings.Join(l.Of, "\n") }
	at := func(after string) string { return "/baselines?" + url.Values{"q": {data.Q}, "after": {after}}.Encode() }
	from := 1 + slices.IndexFunc(list, func(l fleet.Listing) bool { return key(l) == q.Get("after") })
	end := min(from+groupsAPage, len(list))
	for _, l := range list[from:end] {
		data.Groups = append(data.Groups, groupOf(r.Viewer, &l, by[l.Baseline]))
	}
	switch {
	case from > groupsAPage:
		data.Back = at(key(list[from-groupsAPage-1]))
	case from > 0:
		data.Back = at("")
	}
	if end < len(list) {
		data.Next = at(key(list[end-1]))
	}
	p.Body, err = templates.Body("baselines", data)
	return p, err
}

func groupOf(who frame.Viewer, l *fleet.Listing, by []link) group {
	g := group{Baseline: l.Baseline, Path: frame.Path("rules", l.Baseline) + "?kind=baseline", Of: strings.Join(l.Of, ", "), Rules: by,
		Samples: english.Counted(l.Samples, "sample", "samples") + " of " + english.Counted(l.Vehicles, "vehicle", "vehicles"),
		Drawn:   who.Date(l.Oldest) + " to " + who.Date(l.Newest), Since: who.Date(l.On)}
	if l.Age != nil {
		kind := unit.Distance
		if l.Hours {
			kind = unit.Time
		}
		g.Age = english.Reader{Units: who.Units()}.Amount(*l.Age, kind)
	}
	for i := range l.Analytes {
		a := &l.Analytes[i]
		in := shownIn(a.Analyte, who.Units())
		if !a.Usable {
			g.NotUsed = append(g.NotUsed, notUsed{in.name, english.Counted(a.N, "result", "results"), strings.Join(a.Unused, "; ")})
			continue
		}
		u := usual{Name: in.name, N: unit.Grouped(float64(a.N)), Mean: in.span(a.Mean), Spread: in.spread(a.Spread)}
		if a.Most != nil {
			u.Most = in.span(&lab.Span{Low: *a.Most, High: *a.Most})
		}
		g.Usual = append(g.Usual, u)
	}
	return g
}

// shown is how the viewer reads an analyte.
type shown struct{ name, unit, of string }

func shownIn(analyte string, reads unit.System) shown {
	s := shown{name: analytes.Named(analyte), of: analytes.UnitOf(analyte)}
	if s.unit = (unit.Quantity{Unit: s.of}.In(reads).Unit); s.unit != "" {
		s.name += ", " + english.Unit(s.unit)
	}
	return s
}

// span is a figure, or the range that results below their limits leave open.
func (s shown) span(of *lab.Span) string {
	return s.words(of, func(v float64) float64 {
		if s.unit == s.of {
			return v
		}
		base, _, _ := unit.Base(v, s.of)
		return unit.From(base, s.unit)
	})
}

// spread is a difference of values.
func (s shown) spread(of *lab.Span) string {
	return s.words(of, func(v float64) float64 { return unit.Difference(v, s.of, s.unit) })
}

func (s shown) words(of *lab.Span, in func(float64) float64) string {
	if of == nil {
		return ""
	}
	low, high := english.Figures(in(of.Low)), english.Figures(in(of.High))
	if low != high {
		return low + " to " + high
	}
	return high
}
