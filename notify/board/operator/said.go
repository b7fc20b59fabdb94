package operator

import (
	"cmp"
	"context"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/stream"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// saidFor is how far back the page of what was said goes.
const saidFor = 7 * 24 * time.Hour

// change is one transition on the page.
type change struct {
	Time                     string
	Path, Title, Component   string
	Badge                    frame.Badge
	What, Rule, Message, Why string
}

// day is the changes of one day of the viewer's.
type day struct {
	Day     string
	Changes []change
}

type saidPage struct {
	Filter  saidFilter
	Stages  []alarm.Stage
	Tags    []string
	Days    []day
	N       int
	Next    string
	Latest  string // the first page, on others
	CSV     string
	Further bool // it was not read far enough to say that there is no more
}

// saidFilter is what of all that was said is asked for.
type saidFilter struct {
	Stage        alarm.Stage
	Tag, Rule    string
	Answers      bool // what people answered too
	After        string
	from         time.Time
	words        []string
	name, called string // of the tag
}

// at is a page of what is asked for.
func (r saidFilter) at(page, after string) string {
	q := url.Values{}
	for k, v := range map[string]string{"stage": string(r.Stage), "tag": r.Tag, "rule": r.Rule, "after": after} {
		if v != "" {
			q.Set(k, v)
		}
	}
	if r.Answers {
		q.Set("answers", "1")
	}
	if len(q) == 0 {
		return page
	}
	return page + "?" + q.Encode()
}

func filterOf(r *frame.Request) saidFilter {
	q := r.URL.Query()
	f := saidFilter{Stage: alarm.Stage(q.Get("stage")), Tag: q.Get("tag"), Rule: q.Get("rule"), Answers: q.Get("answers") != "", After: q.Get("after"), from: r.Now.Add(-saidFor)}
	for _, w := range strings.Fields(f.Rule) {
		f.words = append(f.words, english.Folded(w))
	}
	f.name, f.called, _ = strings.Cut(f.Tag, "=")
	return f
}

// ofStage are the changes of a stage, which people do not bring about themselves.
var ofStage = []alarm.Change{alarm.Raised, alarm.Worsened, alarm.Eased, alarm.Cleared, alarm.Withdrawn}

func (f *saidFilter) wants(t *alarm.Transition) bool {
	if !f.Answers && !slices.Contains(ofStage, t.Transition) || f.Stage != "" && t.To != f.Stage && t.From != f.Stage {
		return false
	}
	text := english.Folded(t.Rule + " " + t.Title + " " + t.Component)
	return !slices.ContainsFunc(f.words, func(w string) bool { return !strings.Contains(text, w) })
}

// each hands over what was said of late and is asked for, the latest first, at most so much.
// next is where to go on, zero where there is no more; further says that it was not read far
// enough to know.
func (s *site) each(ctx context.Context, f saidFilter, most int, do func(frame.Vehicle, stream.Said)) (next stream.SaidAt, further bool, err error) {
	at, ok := stream.ParseSaidAt(f.After)
	if !ok && f.After != "" {
		return next, false, frame.NotFound
	}
	titles := s.titles()
	var last stream.SaidAt
	n, more, old := 0, false, false
	var asked error
	read, whole, err := s.Log.SaidBefore(ctx, at, func(one stream.Said) bool {
		if old = one.Time.Before(f.from); old {
			return false
		}
		if !f.wants(one.Transition) {
			return true
		}
		v, err := titles.of(ctx, one.Vehicle)
		if err != nil {
			asked = err
			return false
		}
		if f.Tag != "" && (v.VehicleData == nil || v.Tags[f.name] != f.called) {
			return true
		}
		if more = n == most; more {
			return false
		}
		n, last = n+1, one.At
		do(v, one)
		return true
	})
	switch {
	case err != nil, asked != nil:
		return next, false, cmp.Or(err, asked)
	case more:
		return last, false, nil
	case whole || old:
		return next, false, nil
	}
	return read, true, nil
}

// said is what has changed of late.
func (s *site) said(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	data := saidPage{Filter: filterOf(r), Stages: stages.Order[:len(stages.Order)-1]}
	next, further, err := s.each(ctx, data.Filter, perPage, func(v frame.Vehicle, one stream.Said) {
		c := changeOf(r.Viewer, v, one.Transition)
		if d := r.Viewer.Day(one.Time); len(data.Days) == 0 || data.Days[len(data.Days)-1].Day != d {
			data.Days = append(data.Days, day{Day: d})
		}
		d := &data.Days[len(data.Days)-1]
		d.Changes = append(d.Changes, c)
		data.N++
	})
	if err != nil {
		return nil, err
	}
	data.CSV, data.Further = data.Filter.at("/said.csv", ""), further
	if next != (stream.SaidAt{}) {
		data.Next = data.Filter.at("/said", next.String())
	}
	if data.Filter.After != "" {
		data.Latest = data.Filter.at("/said", "")
	}
	p := &frame.Page{Section: frame.More, Title: "What has changed", Lead: "The last 7 days, the latest first.", Watch: "*"}
	if data.Tags, p.Missing, err = s.tags(ctx); err != nil {
		return nil, err
	}
	p.Body, err = templates.Body("said", data)
	return p, err
}

// mostTags is up to how many tags are offered to choose among.
const mostTags = 200

// tags are those that can be chosen; none where they are too many.
func (s *site) tags(ctx context.Context) (tags []string, missing []int, err error) {
	tags, err = service.Tags.Of(ctx, s.Service, service.Question{})
	missing, err = frame.Missing(err)
	if len(tags) > mostTags {
		tags = nil
	}
	return tags, missing, err
}

// changeOf is a transition as the viewer reads it.
func changeOf(who frame.Viewer, v frame.Vehicle, said *alarm.Transition) change {
	var reads []string
	if v.VehicleData != nil {
		reads = v.Reads
	}
	reader := wording.Reader{Person: who.Person}.On(reads)
	t := reader.Spelled(reader.Said(said), v.ID)
	c := change{Time: said.Time.In(who.Zone).Format("15:04"), Path: frame.Path("v", v.ID), Title: titleOf(v), Component: t.Component,
		Badge: frame.BadgeOf(t.To), What: whatChanged(t), Rule: wording.TitleOf(t), Message: english.Sentence(who.DatesIn(wording.MessageOf(t)))}
	c.Why = frame.Path("v", v.ID, "why", t.Rule)
	if t.Component != "" {
		c.Why += "?" + url.Values{"component": {t.Component}}.Encode()
	}
	if slices.Contains(ofStage, t.Transition) && t.To == alarm.Normal {
		c.Badge, c.Message = frame.Badge{Word: english.Capital(string(t.Transition))}, wording.EndOf(t)
	}
	return c
}

// whatChanged is a change in words: "worsened, from Watch".
func whatChanged(t *alarm.Transition) string {
	from := stages.Of(t.From).Head
	switch t.Transition {
	case alarm.Worsened, alarm.Eased:
		return fmt.Sprintf("%s, from %s", t.Transition, from)
	case alarm.Cleared, alarm.Withdrawn:
		return "was " + from
	}
	return string(t.Transition)
}

// mostRows is how many lines a table to save has.
const mostRows = 10_000

// saidTable is what has changed as a table.
func (s *site) saidTable(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	t := newTable("time", "vehicle", "name", "component", "rule", "title", "change", "from", "to", "standing", "message")
	f := filterOf(r)
	f.After = ""
	_, _, err := s.each(ctx, f, mostRows, func(v frame.Vehicle, one stream.Said) {
		c := changeOf(r.Viewer, v, one.Transition)
		t.row(one.Time.In(r.Viewer.Zone).Format(time.RFC3339), one.Vehicle, c.Title, one.Component, one.Rule, c.Rule,
			string(one.Transition.Transition), string(one.From), string(one.To), string(one.Standing), c.Message)
	})
	return t.page("said.csv"), err
}
