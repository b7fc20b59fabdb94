package vehicle

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/notify/board/frame"
	"telltale/notify/handover"
	"telltale/notify/rights"
	"telltale/rules/chapters"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// onPage is how many entries a page of the history has.
const onPage = 50

// kinds are what a history can be narrowed to, as an address says it.
var kinds = []struct {
	Name, Words string
	of          []string
}{
	{"", "Everything", nil},
	{"work", "Work", []string{history.WhatWork, history.WhatReplaced}},
	{"samples", "Samples and measurements", []string{history.WhatSample}},
	{"readings", "Readings", []string{history.WhatReading}},
	{"alarms", "Alarms", []string{history.WhatAlarm}},
	{"answers", "Answers", []string{history.WhatAnswer}},
}

// historyPage is a page of a vehicle's history, newest first.
type historyPage struct {
	About      string
	Kinds      []kind
	Lines      []line
	Count      string
	Back, Next string // addresses; "" for none
	Size       int
	Empty      string
	All        string // where all of it is, where this is a part
	HandOver   string
	CSV, JSON  string

	shown []place
}

// kind is what the history can be narrowed to; Path is "" where it is.
type kind struct{ Words, Path string }

// line is an entry, and where whoever looks takes it back; "" where they cannot.
type line struct {
	handover.Line
	TakeBack string
}

// choice is which entries are asked for.
type choice struct {
	kind, on   string
	event      event.ID
	afterPlace string
}

func chosen(r *frame.Request) choice {
	return choice{r.FormValue("what"), r.FormValue("on"), event.ID{Source: r.FormValue("source"), ID: r.FormValue("id")}, r.FormValue("after")}
}

func (c choice) query(after string) string {
	return query("what", c.kind, "on", c.on, "source", c.event.Source, "id", c.event.ID, "after", after)
}

func (c choice) takes(e *history.Entry) bool {
	for _, k := range kinds {
		if k.Name == c.kind && k.of != nil && !slices.Contains(k.of, e.What) {
			return false
		}
	}
	return (c.on == "" || e.Date == c.on) && (c.event == (event.ID{}) || e.Event != nil && *e.Event == c.event)
}

func (s site) history(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	v, list, err := s.askHistory(ctx, r)
	if err != nil {
		return nil, err
	}
	c := chosen(r)
	at := v.path("history")
	d := historyPage{About: v.about(), Size: onPage, HandOver: v.path("handover"), CSV: at + ".csv", JSON: at + ".json"}
	for _, k := range kinds {
		one := kind{Words: k.Words, Path: at + query("what", k.Name)}
		if k.Name == c.kind && c.on == "" && c.event == (event.ID{}) {
			one.Path = ""
		}
		d.Kinds = append(d.Kinds, one)
	}
	all := placed(newestFirst(list))
	all = slices.DeleteFunc(all, func(p place) bool { return !c.takes(p.entry) })
	d.turn(all, c, at)
	d.Count = english.Counted(len(all), "entry", "entries")
	if len(all) >= 1000 {
		d.Count = unit.Grouped(float64(len(all))) + " entries"
	}
	if c.on != "" || c.event != (event.ID{}) {
		d.All = at
	}
	for _, p := range d.shown {
		d.Lines = append(d.Lines, line{v.lineOf(p.entry), v.takeBack(r, p.entry, c.event != (event.ID{}))})
	}
	body, err := templates.Body("history", d)
	return &frame.Page{Section: frame.Vehicles, Title: "History", About: v.title(), Lead: wordHistory, Up: v.up(), Body: body}, err
}

// lineOf is an entry as the viewer reads it: what a chapter's rule says in their spelling,
// what people wrote as they wrote it.
func (v *told) lineOf(e *history.Entry) handover.Line {
	l := handover.LineOf(e, v.by.DatesIn)
	if t := e.Alarm; t != nil && chapters.Wrote(t.Rule, t.Title) {
		l.Text = v.by.Ours(l.Text, v.title(), t.Component)
	}
	return l
}

// turn puts the entries behind the place on the page.
func (d *historyPage) turn(all []place, c choice, at string) {
	first := 0
	if t, n, ok := parsePlace(c.afterPlace); ok {
		first = len(all)
		for i, p := range all {
			if at := p.entry.Time.UnixNano(); at < t || at == t && p.n < n {
				first = i
				break
			}
		}
	}
	last := min(first+d.Size, len(all))
	d.shown = all[first:last]
	if last < len(all) {
		d.Next = at + c.query(all[last-1].String())
	}
	switch before := max(0, first-d.Size); {
	case first == 0:
	case before == 0:
		d.Back = at + c.query("")
	default:
		d.Back = at + c.query(all[before-1].String())
	}
	if len(all) == 0 {
		d.Empty = wordNoEntries
	}
}

// place is an entry and its place: its time and, of those of one time, its number from the
// oldest.
type place struct {
	entry *history.Entry
	n     int
}

// String is the place as an address has it.
func (p place) String() string { return fmt.Sprintf("%d.%d", p.entry.Time.UnixNano(), p.n) }

func parsePlace(text string) (at int64, n int, ok bool) {
	a, b, _ := strings.Cut(text, ".")
	at, err1 := strconv.ParseInt(a, 10, 64)
	n, err2 := strconv.Atoi(b)
	return at, n, err1 == nil && err2 == nil
}

// placed are entries, newest first, with their places.
func placed(list []history.Entry) []place {
	out := make([]place, len(list))
	for i := len(list) - 1; i >= 0; i-- {
		out[i].entry = &list[i]
		if i+1 < len(list) && list[i+1].Time.Equal(list[i].Time) {
			out[i].n = out[i+1].n + 1
		}
	}
	return out
}

// newestFirst is a history, which begins with the registration, the other way round, each
// entry in its place by time.
func newestFirst(list []history.Entry) []history.Entry {
	out := slices.Clone(list)
	slices.SortStableFunc(out, func(a, b history.Entry) int { return a.Time.Compare(b.Time) })
	slices.Reverse(out)
	return out
}

// lines are entries as the viewer reads them.
func (v *told) lines(list []history.Entry) (out []handover.Line) {
	for i := range list {
		out = append(out, v.lineOf(&list[i]))
	}
	return out
}

// takeBack is where the entry can be taken back: by whoever entered it, and by who may take
// back what others entered what people did, what is in doubt, or one that was asked for alone.
// "" for nowhere.
func (v *told) takeBack(r *frame.Request, e *history.Entry, alone bool) string {
	if e.Event == nil || e.TakenOut || e.What == history.WhatAlarm || e.What == history.WhatVehicle {
		return ""
	}
	typed := event.Personal(e.Event.Source) || strings.HasPrefix(e.Event.Source, "/record")
	any := r.MayTakeBackAny(frame.Vehicle{ID: v.Vehicle.Vehicle, VehicleData: v.Register})
	if e.Event.Source == r.Viewer.Source() && v.may(rights.TakeBack) || any && (typed || alone || len(e.Doubts) > 0) {
		return v.path("entered", e.Event.ID) + "?" + url.Values{"by": {e.Event.Source}}.Encode()
	}
	return ""
}

// askHistory is the vehicle and all that is known of it, its registration at least.
func (s site) askHistory(ctx context.Context, r *frame.Request) (*told, []history.Entry, error) {
	v, err := s.ask(ctx, r)
	if err != nil {
		return nil, nil, err
	}
	list, err := s.past(ctx, r, v)
	return v, list, s.known(ctx, v.Vehicle.Vehicle, len(list), err)
}
