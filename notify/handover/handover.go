// Package handover writes a vehicle's history as it is handed over with it: a page to print,
// a table, and entry by entry.
package handover

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/notify/cells"
	"telltale/notify/stages"
	"telltale/rules/english"
)

//go:embed page.html
var pageHTML string

//go:embed body.html
var bodyHTML string

var (
	one       = func(s string) string { return english.Printable(english.OneLine(s)) }
	templates = template.Must(template.Must(template.New("page").Funcs(template.FuncMap{"one": one, "stage": func(s alarm.Stage) string { return stages.Of(s).Head }}).
			Parse(pageHTML)).New("body").Parse(bodyHTML))
)

// paper is a vehicle's history: what was done and found, what is open, and the rest in short.
type paper struct {
	Vehicle, From, To string
	Since             string // in service
	Register          *event.VehicleData
	Meters            []Line // the last value of each that was read by itself
	Work, Samples     []Line
	Open              []Line // the alarms that are active
	Answers, Readings []Line
	Alarms            []course
}

// course is what became of one alarm over all the time.
type course struct {
	What, First, Last string // its name, and the dates of the first and the last change
	Worst             alarm.Stage
	Raised            int
	Now               alarm.Stage
}

// Page writes the history as a page that loads nothing and prints on A4.
func Page(w io.Writer, list []history.Entry) error {
	if err := templates.ExecuteTemplate(w, "page", paperOf(list, nil)); err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	return nil
}

// Body writes what stands on the page, below its heading, for a page that has its own style.
// dates is that of [LineOf].
func Body(list []history.Entry, dates func(string) string) (template.HTML, error) {
	var b strings.Builder
	err := templates.ExecuteTemplate(&b, "body", paperOf(list, dates))
	return template.HTML(b.String()), err
}

// CSV writes the history as a table.
func CSV(w io.Writer, list []history.Entry) error {
	rows := [][]string{{"date", "time", "vehicle", "what", "component", "text", "meters", "results", "doubts", "taken out", "source", "id"}}
	for i := range list {
		e := &list[i]
		source, id, gone := "", "", ""
		if e.Event != nil {
			source, id = e.Event.Source, e.Event.ID
		}
		if e.TakenOut {
			gone = "yes"
		}
		rows = append(rows, []string{e.Date, e.Time.Format(time.RFC3339), e.Vehicle, e.What, e.Component, e.Text, e.MetersLine(), e.ResultsLine(),
			strings.Join(e.Doubts, "; "), gone, source, id})
	}
	return cells.Write(w, rows)
}

func paperOf(list []history.Entry, dates func(string) string) *paper {
	date := func(s string) string {
		if dates != nil {
			return dates(s)
		}
		return s
	}
	p := &paper{Vehicle: list[0].Vehicle, Register: cmp.Or(list[0].Register, &event.VehicleData{Name: list[0].Vehicle})}
	var alarms, readings []history.Entry
	for i := range list[1:] {
		e := &list[i+1]
		if p.From == "" {
			p.From = e.Date
		}
		p.From, p.To = min(p.From, e.Date), max(p.To, e.Date)
		switch l := LineOf(e, dates); e.What {
		case history.WhatWork, history.WhatReplaced:
			p.Work = append(p.Work, l)
		case history.WhatSample:
			p.Samples = append(p.Samples, l)
		case history.WhatReading:
			p.Readings, readings = append(p.Readings, l), append(readings, *e)
		case history.WhatAlarm:
			alarms = append(alarms, *e)
		default:
			p.Answers = append(p.Answers, l)
		}
	}
	p.From, p.To, p.Since = date(p.From), date(p.To), date(p.Register.InService)
	p.Meters = linesOf(lastOfEach(readings), dates)
	courses, open := courses(alarms)
	for i := range courses {
		courses[i].First, courses[i].Last = date(courses[i].First), date(courses[i].Last)
	}
	p.Alarms, p.Open = courses, linesOf(open, dates)
	return p
}

func linesOf(list []history.Entry, dates func(string) string) (out []Line) {
	for i := range list {
		out = append(out, LineOf(&list[i], dates))
	}
	return out
}

// lastOfEach are the last values of the meters that were read and not doubted, by name.
func lastOfEach(readings []history.Entry) []history.Entry {
	last := map[string]history.Entry{}
	for _, e := range readings {
		for name := range e.Meters {
			if !e.TakenOut && len(e.Doubts) == 0 {
				last[name] = e
			}
		}
	}
	var out []history.Entry
	for _, name := range slices.Sorted(maps.Keys(last)) {
		out = append(out, last[name])
	}
	return out
}

// courses sums alarms up by what they are of, in order of their first change; open are
// those that are active, the worst first, as they were told last.
func courses(alarms []history.Entry) (all []course, open []history.Entry) {
	at := map[alarm.Key]int{}
	var last []history.Entry
	for _, e := range alarms {
		t := e.Alarm
		if t == nil {
			continue
		}
		k := alarm.Key{Rule: t.Rule, Component: t.Component}
		i, there := at[k]
		if !there {
			i = len(all)
			at[k] = i
			all, last = append(all, course{What: alarmName(t), First: e.Date, Worst: t.To}), append(last, e)
		}
		c := &all[i]
		c.Last, c.Now, last[i] = e.Date, t.To, e
		if severity(t.To) > severity(c.Worst) {
			c.Worst = t.To
		}
		if t.Transition == alarm.Raised {
			c.Raised++
		}
	}
	for i, c := range all {
		if c.Now != alarm.Normal {
			open = append(open, last[i])
		}
	}
	slices.SortStableFunc(open, func(a, b history.Entry) int {
		return cmp.Compare(severity(b.Alarm.To), severity(a.Alarm.To))
	})
	return all, open
}

func severity(s alarm.Stage) int { return stages.Of(s).Severity }

// Times is how often it was raised, in words.
func (c course) Times() string {
	if c.Raised < 2 {
		return "once"
	}
	return fmt.Sprintf("%d times", c.Raised)
}
