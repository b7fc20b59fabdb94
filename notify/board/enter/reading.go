package enter

import (
	"context"
	"html/template"
	"regexp"

	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/english"
)

var clock = regexp.MustCompile(`^([01]?\d|2[0-3])[:.]([0-5]\d)$`)

// moment are the fields of when something was: its day, and the time where that matters.
type moment struct{ Day, Time *form.Field }

// How many days ago a reading and a job may have been. Work of many years ago still counts:
// who begins with an old vehicle enters what its papers tell.
const (
	oldestReading = 366
	oldestWork    = 40 * 366
)

// day is the field of the day on which something was, at most so many days ago.
func (a *asked) day(oldest int) *form.Field {
	return a.form.Field("day", "Day").Before(a.form.Today()).Within(a.form.DayAfter(-oldest), a.form.Today()).Need()
}

func (a *asked) moment() moment {
	m := moment{a.day(oldestReading), a.form.Field("time", "Time (only if it was earlier that day)")}
	m.Time.Hint = "Like 14:30, on the clock where the vehicle is."
	return m
}

// on is the moment as a job takes it, "" for now.
func (m moment) on(f *form.Form) string {
	day, text := m.Day.Day(), m.Time.Text()
	if text == "" || day == "" {
		return f.At(day)
	}
	p := clock.FindStringSubmatch(text)
	if p == nil {
		m.Time.Fault("%s is not a time of day like 14:30", text)
		return ""
	}
	hour := p[1]
	if len(hour) == 1 {
		hour = "0" + hour
	}
	return day + "T" + hour + ":" + p[2]
}

// further are the ways from a reading to what else may have been done.
func (a *asked) further() (out []frame.Link) {
	if a.r.MayHere(rights.Work, a.Vehicle) {
		return []frame.Link{{Words: "The instrument was replaced", Path: frame.Path("v", a.ID, "replaced")}, {Words: "Work was done", Path: frame.Path("v", a.ID, "work")}}
	}
	return []frame.Link{{Words: "Report a defect", Path: frame.Path("v", a.ID, "measure")}}
}

// reading enters what meters show.
func (s site) reading(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.ask(ctx, r)
	if err != nil {
		return nil, err
	}
	meters, when := a.meters(), a.moment()
	on, values := when.on(a.form), shown(meters)
	if len(values) == 0 && !typedIn(meters) {
		a.form.Fault("type what a meter shows")
	}
	var events []event.Event
	return s.Serve(ctx, r, &entry.Entry{
		Form: a.form, Vehicle: a.Vehicle, Page: a.page("Enter a reading"),
		Events: func() (_ []event.Event, err error) {
			events, err = job.Job{Vehicle: a.ID, Said: map[string]string{}, Meters: values}.Events(on, a.known())
			if e, ok := err.(*job.Error); ok && e.Fault == job.NotYet {
				when.Time.Fault("%s has not come yet", english.OneLine(when.Time.Text()))
				return nil, nil
			}
			return events, err
		},
		Field: func(i int) *form.Field { return meterOf(meters, events[i].Data.(*event.ReadingData).Meter) },
		Fields: func() (template.HTML, error) {
			return templates.Body("reading", map[string]any{"Meters": fieldsOf(meters), "When": when, "Further": a.further()})
		},
	})
}
