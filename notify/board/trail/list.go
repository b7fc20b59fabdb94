package trail

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"

	"telltale/engine/stream/audit"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/rules/english"
)

const (
	// perPage is how many entries a page has.
	perPage = 50
	maxName = 160 // runes
	maxText = 500
)

// line is an entry on the page.
type line struct {
	Time   string
	Says   string
	Badge  frame.Badge // of what was refused, or failed; else empty
	Beside string
	By     string
	Links  []frame.Link
}

// day is the entries of one day of the viewer's.
type day struct {
	Day   string
	Lines []line
}

type listPage struct {
	Filter       filter
	Whats        []choice
	Days         []day
	N            int
	Next, Latest string
	CSV, Path    string
	Nothing      string
}

type choice struct{ Value, Label string }

// list is who did what, the latest first.
func (s *site) list(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	f := filterOf(r)
	data := listPage{Filter: f, CSV: f.at(filePath), Path: pagePath}
	for _, k := range audit.Kinds() {
		data.Whats = append(data.Whats, choice{string(k), english.Capital(k.Deed())})
	}
	slices.SortFunc(data.Whats, func(a, b choice) int { return cmp.Compare(a.Label, b.Label) })
	p := &frame.Page{Section: frame.More, Title: "Who did what", Lead: wordLead}
	if err := s.fill(ctx, r, f, &data); err != nil {
		return nil, err
	}
	var err error
	p.Body, err = templates.Body("audit", data)
	return p, err
}

// fill writes the lines of a page.
func (s *site) fill(ctx context.Context, r *frame.Request, f filter, data *listPage) error {
	if s.Audit == nil {
		data.Nothing = wordNone
		return nil
	}
	q, wrong, err := s.query(ctx, r, f)
	if err != nil || wrong != "" {
		data.Nothing = wrong
		return err
	}
	got, err := s.Audit.List(ctx, q)
	if err != nil {
		return err
	}
	names := s.titles()
	for _, e := range got.Entries {
		if d := r.Viewer.Day(e.Time); len(data.Days) == 0 || data.Days[len(data.Days)-1].Day != d {
			data.Days = append(data.Days, day{Day: d})
		}
		d := &data.Days[len(data.Days)-1]
		d.Lines = append(d.Lines, s.line(r, e.Entry, names.of(ctx, e.Vehicle)))
		data.N++
	}
	if data.Nothing = wordNothing; !f.all() {
		data.Nothing = wordNoneOfThem
	}
	latest := f
	if latest.Before = ""; f.Before != "" {
		data.Latest = latest.at(pagePath)
	}
	if got.Next != 0 {
		f.Before = strconv.FormatUint(got.Next, 10)
		data.Next = f.at(pagePath)
	}
	return nil
}

// line is an entry in words, with the ways to what it is about.
func (s *site) line(r *frame.Request, e audit.Entry, v frame.Vehicle) line {
	l := line{Time: e.Time.In(r.Viewer.Zone).Format("15:04"), Says: r.Viewer.Spelling.Of(e.Says(s.called(e.Who), title(v))), Beside: page.Clean(e.Beside(), maxText)}
	var by []string
	if way := e.How.Way(); way != "" {
		by = append(by, way)
	}
	if e.From != "" {
		by = append(by, "from "+e.From)
	}
	l.By = english.Sentence(strings.Join(by, ", "))
	switch e.Outcome {
	case audit.Refused:
		l.Badge = frame.Badge{Word: "Refused", Weight: 1}
	case audit.Failed:
		l.Badge = frame.Badge{Word: "Failed", Weight: 2}
	}
	if e.Who != "" {
		l.Links = append(l.Links, frame.Link{Words: "All that " + s.called(e.Who) + " did", Path: filter{Who: e.Who}.at(pagePath)})
	}
	if v.VehicleData != nil {
		l.Links = append(l.Links, frame.Link{Words: "All that was done to " + title(v), Path: filter{Vehicle: v.ID}.at(pagePath)}, frame.Link{Words: title(v), Path: frame.Path("v", v.ID)})
	}
	return l
}
