package operator

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"telltale/engine/event"
	"telltale/engine/stranger"
	"telltale/engine/stream"
	"telltale/engine/stream/refusals"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// refusedLine is an event that could not be used.
type refusedLine struct {
	Why, Class, When string
	Vehicle, Path    string // Path is "" where nobody registered it
	Source, ID       string
	Kept             bool
	Event            string // where it lies
}

// reason is why events are refused, and how many.
type reason struct {
	Name, Do, Path, N string
	Is                bool
}

// strange is a vehicle that nobody registered.
type strange struct {
	stranger.Vehicle
	First, Last, Events string
	Sources             string
	Like                []string
	Ask                 string // where to ask which names it looks like
	Lines               string
}

type refusedPage struct {
	Vehicle     string
	Reasons     []reason
	All         string
	Lines       []refusedLine
	Count       string
	Back, Next  string
	Size        int
	More        bool
	Strangers   []strange
	Do          string
	MoreStrange string
}

// refusedList is what could not be used, and of whom nobody knows.
func (s *site) refusedList(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	q := r.URL.Query()
	data := refusedPage{Vehicle: q.Get("vehicle"), Size: perPage, Do: wordStrangers}
	p := &frame.Page{Section: frame.More, Title: "Not used", Lead: "What could not be used, and what is of vehicles that nobody registered."}
	asked := refusals.Query{Class: event.RefusalClass(q.Get("reason")), After: q.Get("after"), Limit: perPage}
	var err error
	if data.Vehicle != "" {
		asked.Names, err = s.Service.Names(ctx, data.Vehicle)
		if p.Missing, err = frame.Missing(err); err != nil {
			return nil, err
		}
		if asked.Names == nil {
			asked.Names = []string{data.Vehicle}
		}
	}
	got, err := s.refused.Page(ctx, asked)
	if err != nil {
		return nil, err
	}
	data.refusals(asked, got)
	titles := s.titles()
	for _, l := range got.Lines {
		line, err := s.refusedLine(ctx, r, titles, &l)
		if err != nil {
			return nil, err
		}
		data.Lines = append(data.Lines, line)
	}
	missing, err := s.strangers(ctx, r, &data)
	if err != nil {
		return nil, err
	}
	if missing != nil { // of all partitions
		p.Missing = missing
	}
	p.Body, err = templates.Body("refused", data)
	return p, err
}

// refusals fills in the counts and the way to other pages.
func (d *refusedPage) refusals(asked refusals.Query, got refusals.Page) {
	at := func(class event.RefusalClass, after string) string {
		q := url.Values{}
		for k, v := range map[string]string{"reason": string(class), "vehicle": d.Vehicle, "after": after} {
			if v != "" {
				q.Set(k, v)
			}
		}
		return "/refused?" + q.Encode()
	}
	for _, one := range reasons {
		if n := got.Reasons[one.Class]; n > 0 {
			d.Reasons = append(d.Reasons, reason{one.Name, one.Do, at(one.Class, ""), unit.Grouped(float64(n)), asked.Class == one.Class})
		}
	}
	d.Count, d.More, d.All = english.Counted(got.Total, "event", "events"), got.More, at("", "")
	if got.Next != "" {
		d.Next = at(asked.Class, got.Next)
	}
	if asked.After != "" {
		d.Back = at(asked.Class, "")
	}
}

func (s *site) refusedLine(ctx context.Context, r *frame.Request, t *titles, l *refusals.Line) (refusedLine, error) {
	out := refusedLine{Why: english.Sentence(page.Clean(l.Refused, 500)), When: moment(r.Viewer, l.Time), Kept: l.Kept, Vehicle: page.Clean(l.Vehicle, 100)}
	for _, one := range reasons {
		if one.Class == cmp.Or(l.Class, refusals.Other) {
			out.Class = one.Name
		}
	}
	if l.Event != nil {
		out.Source, out.ID = page.Clean(l.Event.Source, 100), page.Clean(l.Event.ID, 100)
	}
	if l.Seq > 0 {
		out.Event = fmt.Sprintf("/refused/%d", l.Seq)
	}
	if l.Vehicle == "" {
		return out, nil
	}
	v, err := t.of(ctx, l.Vehicle)
	if v.VehicleData != nil {
		out.Vehicle, out.Path = titleOf(v), frame.Path("v", v.ID)
	}
	return out, err
}

const (
	// strangersAPage is how many vehicles that nobody registered are on one page, and
	// compared how many names each at once is compared with.
	strangersAPage = 20
	compared       = 5_000
	// alike is how many names are told that one looks like.
	alike = 3
)

// strangers fills in the vehicles that nobody registered.
func (s *site) strangers(ctx context.Context, r *frame.Request, data *refusedPage) (missing []int, err error) {
	list, err := service.Strangers.Of(ctx, s.Service, service.Question{})
	if missing, err = frame.Missing(err); err != nil || len(list) == 0 {
		return missing, err
	}
	q := r.URL.Query()
	from := 1 + slices.IndexFunc(list, func(v stranger.Vehicle) bool { return v.Vehicle == q.Get("behind") })
	end := min(from+strangersAPage, len(list))
	if end < len(list) {
		data.MoreStrange = "/refused?" + url.Values{"behind": {list[end-1].Vehicle}}.Encode() + "#strangers"
	}
	names, err := s.names(ctx)
	if err != nil {
		return missing, err
	}
	for _, v := range list[from:end] {
		one := strange{Vehicle: v, First: moment(r.Viewer, v.First), Last: moment(r.Viewer, v.Last), Events: english.Counted(v.Events, "event", "events"),
			Sources: english.List("and", v.Sources), Lines: v.Register()}
		if len(names) <= compared || q.Get("like") == v.Vehicle {
			one.Like = source.Nearest(v.Vehicle, names, alike)
		} else {
			one.Ask = "/refused?" + url.Values{"behind": {q.Get("behind")}, "like": {v.Vehicle}}.Encode() + "#strangers"
		}
		data.Strangers = append(data.Strangers, one)
	}
	return missing, nil
}

// names are those by which the vehicles are registered.
func (s *site) names(ctx context.Context) (out []string, err error) {
	all, _, err := frame.Ask(ctx, s.Frame, service.Register, service.Question{})
	if err != nil {
		return nil, err
	}
	for _, v := range all {
		out = append(out, v.Vehicle)
	}
	return out, nil
}

// mostShown is how much of a stored text is on a page; the rest is in the file to save.
const mostShown = 10_000

// visible is a text in lines of which nothing drives a terminal or turns what is read: such
// marks are shown by their numbers.
func visible(text string) (shown string, cut bool) {
	var b strings.Builder
	n := 0
	for _, r := range text {
		if n++; n > mostShown {
			return b.String(), true
		}
		if unicode.IsControl(r) && r != '\n' && r != '\t' || unicode.Is(unicode.Cf, r) {
			fmt.Fprintf(&b, "\\u%04x", r)
			continue
		}
		b.WriteRune(r)
	}
	return b.String(), false
}

// eventAt is what lies at the place in the log that the address names.
func (s *site) eventAt(ctx context.Context, r *frame.Request) (*stream.Stored, error) {
	seq, err := strconv.ParseUint(r.PathValue("seq"), 10, 64)
	if err != nil {
		return nil, frame.NotFound
	}
	m, err := s.Log.EventAt(ctx, seq)
	if m == nil && err == nil {
		err = frame.NotFound
	}
	return m, err
}

// event shows an event as it lies in the log, to copy it.
func (s *site) event(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	m, err := s.eventAt(ctx, r)
	if err != nil {
		return nil, err
	}
	text := string(m.Body)
	var b bytes.Buffer
	if json.Indent(&b, m.Body, "", "  ") == nil {
		text = b.String()
	}
	data := struct {
		Subject, Stored, Text, Save string
		Cut                         bool
	}{Subject: page.Clean(m.Subject, 500), Stored: moment(r.Viewer, m.At), Save: "/refused/" + r.PathValue("seq") + "/raw"}
	data.Text, data.Cut = visible(text)
	body, err := templates.Body("event", data)
	return &frame.Page{Section: frame.More, Title: "Event " + r.PathValue("seq"), Lead: "As it lies in the log.", Up: frame.Link{Words: "Not used", Path: "/refused"}, Body: body}, err
}

// rawEvent is the event itself, to save.
func (s *site) rawEvent(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	m, err := s.eventAt(ctx, r)
	if err != nil {
		return nil, err
	}
	return &frame.Page{File: &frame.File{Type: "application/octet-stream", Name: "event-" + r.PathValue("seq") + ".json", Body: m.Body}}, nil
}
