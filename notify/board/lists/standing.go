package lists

import (
	"context"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/listing"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// views are the lists of what stands, with how the page calls each and what it says of one
// in which nothing is.
var views = []struct {
	listing.View
	Name, Well string
}{
	{listing.Standing, "Standing", "No alarm stands."},
	{listing.Aside, "Put aside", "Nothing is put aside."},
	{listing.Out, "Out of service", "No vehicle with something due or wrong is out of service."},
	{listing.Returned, "Returned", "Nothing came back by itself that nobody has acknowledged."},
	{listing.Postponed, "Postponed", "No work is postponed."},
}

// standingAsk reads the address of what stands.
func (s site) standingAsk(r *frame.Request) (ask, error) {
	v := listing.View(r.URL.Query().Get("view"))
	if v == "" {
		v = listing.Standing
	}
	a, err := read(r, v)
	switch {
	case err != nil:
	case wellOf(v) == "":
		err = wrong("There is no list %q.", string(v))
	case v != listing.Standing:
		err = s.MayAnywhere(r, rights.See)
	}
	return a, err
}

// standing is what is wrong, and who knows of it.
func (s site) standing(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.standingAsk(r)
	if err != nil {
		return nil, err
	}
	if err := s.resolved(ctx, r, &a); err != nil {
		return nil, err
	}
	of, data := a, a
	of.Of, data.Of, data.Limit = a.Of, listing.OfData, maxData
	apart := a.View == listing.Standing && a.Of == "" && a.Rule == ""
	if apart {
		of.Of = listing.OfRules
	}
	var p, odd listing.Page
	var missing []int
	var n map[listing.View]int
	err = atOnce(
		func() (err error) {
			p, err = s.lines(ctx, r, of)
			missing, err = frame.Missing(err)
			return err
		},
		func() (err error) {
			if apart && a.After == "" && a.Before == "" {
				odd, err = s.lines(ctx, r, data)
			}
			_, err = frame.Missing(err)
			return err
		},
		func() (err error) {
			n, err = s.counts(ctx, r, ask{Tag: a.Tag})
			_, err = frame.Missing(err)
			return err
		})
	if err != nil {
		return nil, err
	}
	m := s.rowsFor(r)
	all := m.all(p.Lines, a.View)
	l := list{Groups: groups(all), Pager: a.pager(standingPath, &p, stops{}), Heads: mailHeads, Views: a.views(n, r.MayAnywhere(rights.See))}
	if len(odd.Lines) > 0 {
		l.Groups = append(l.Groups, m.odd(&odd, data))
	}
	_, l.Mind = m.beside(all)
	l.Filters = a.standingFilters(m, &p)
	if len(l.Groups) == 0 {
		if l.Nothing, err = s.nothingOn(ctx, r, a, standingPath, wellOf(a.View), missing); err != nil {
			return nil, err
		}
	}
	if l.ticks(r.Viewer.SignedIn != nil || r.Viewer.Operator) { // where nobody signs in, as a courtesy
		l.Form, l.Press = "/standing/acknowledge", "Acknowledge the ticked alarms of one rule"
	}
	l.Acts = a.files(standingPath, len(l.Groups) > 0, false)
	return s.written(ctx, r, frame.Page{Section: frame.Standing, Title: nameOf(a.View), About: a.about(), Lead: leadOf(p.Stages), Missing: missing, Work: len(all) > 0}, "list", l)
}

// standingFilters is the form that narrows what stands.
func (a ask) standingFilters(m rows, p *listing.Page) *filters {
	f := a.filters(standingPath, m.Date, []choice{
		{"stage", "Stage", stageOptions(stagesOf(a.View), p.Stages, a.Stage)},
		{"tag", "Tag", options(p.Tags, a.Tag, "all", tagWords)},
	})
	return &f
}

// ticks reports whether there is a line to tick; for whoever may not, there is none.
func (l *list) ticks(may bool) (any bool) {
	for _, g := range l.Groups {
		for i := range g.Rows {
			if !may {
				g.Rows[i].Tick = ""
			}
			any = any || g.Rows[i].Tick != ""
		}
	}
	return any
}

// stagesOf are the stages that a view may be narrowed to.
func stagesOf(v listing.View) []alarm.Stage {
	rules := []alarm.Stage{alarm.Warning, alarm.Caution, alarm.Advisory}
	tasks := []alarm.Stage{alarm.Overdue, alarm.Due, alarm.Soon}
	switch v {
	case listing.Standing:
		return rules
	case listing.Postponed:
		return tasks
	case listing.Returned:
		return nil
	}
	return slices.Concat(rules, tasks)
}

// maxData bounds the alarms on the data beside the others.
const maxData = 20

// odd is the group of the alarms on the data, as far as they stand beside the others.
func (m rows) odd(p *listing.Page, a ask) group {
	g := group{Heading: headData, Rows: m.all(p.Lines, a.View), Weight: 1}
	if p.Total > len(p.Lines) {
		g.More = act{"All " + unit.Grouped(float64(p.Total)) + " of these", a.at(standingPath)}
	}
	for i := range g.Rows {
		g.Rows[i].Own = true
	}
	return g
}

// views are the lists of what stands, with how many lines each has.
func (a ask) views(n map[listing.View]int, all bool) (out []view) {
	for _, v := range views {
		if !all && v.View != listing.Standing {
			continue
		}
		out = append(out, view{v.Name + " (" + unit.Grouped(float64(n[v.View])) + ")", ask{View: v.View, Tag: a.Tag, Q: a.Q}.at(standingPath), v.View == a.View})
	}
	return out
}

func nameOf(v listing.View) string {
	for _, o := range views {
		if o.View == v {
			return o.Name
		}
	}
	return english.Capital(string(v))
}

// wellOf is what a list says in which nothing is; "" for one that there is none of.
func wellOf(v listing.View) string {
	for _, o := range views {
		if o.View == v {
			return o.Well
		}
	}
	return ""
}
