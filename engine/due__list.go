package engine

import (
	"strings"
	"telltale/engine/interval"
	"time"
)

// DueQuery says what a due list should hold.
type DueQuery struct {
	Vehicle string // one vehicle; all where empty
	// Ahead also lists what is likely to come due within so many days, beyond
	// what is soon already.
	Ahead int
	// Tag keeps vehicles with that tag, as "depot=north"; all where empty.
	Tag string
	// On is the local date, YYYY-MM-DD, that the list is for, now where empty. For an
	// earlier date it is made from what had been observed by its end; for a later
	// one from what is known, with meters estimated and never shown as read.
	On string
}

// tagged reports whether the query is about vehicles registered like that.
func (q *DueQuery) tagged(reg *VehicleData) bool {
	name, value, _ := strings.Cut(q.Tag, "=")
	return q.Tag == "" || reg.Tags[name] == value
}

// listDue are the lines of one vehicle, in no order that matters.
func listDue(f *view, q DueQuery) []DueItem {
	var out []DueItem
	if q.On != "" {
		f = f.asOf(q.On)
	}
	if reg := f.rec.registered(); f.Book == nil || f.rec.Out || reg == nil || reg.Retired || !q.tagged(reg) {
		return nil
	}
	f.eachTask(func(d *due, k AlarmKey) {
		f.judgeDue(d)
		if d.Stage > 0 || f.ahead(d, q.Ahead) {
			out = append(out, f.dueItem(d, k))
		}
	})
	return out
}

// asOf is the view as of the end of a local date.
func (f *view) asOf(on string) *view {
	day, err := interval.ParseDate(on)
	reg := f.rec.registered()
	if err != nil || reg == nil {
		return newView(f.law, Record{Vehicle: f.rec.Vehicle}, nil)
	}
	then := *f.law
	then.Now = day.AddDays(1).Start(reg.zone()).Add(-time.Second)
	if then.Now.Before(f.Now) {
		return newView(&then, *f.rec.until(then.Now.UnixNano()), nil)
	}
	return newView(&then, *f.rec, f.kept)
}

// ahead reports whether the task is likely to come due within so many days.
func (f *view) ahead(d *due, n int) bool {
	if n <= 0 || d.waiting || !d.state.HasToday {
		return false
	}
	limit := d.state.Today.AddDays(n)
	return d.point.HasDate && d.point.Date.Compare(limit) <= 0 || d.sure && d.likely.Compare(limit) <= 0
}

func (f *view) dueItem(d *due, k AlarmKey) DueItem {
	reg := f.applied().reg
	item := DueItem{
		Vehicle: f.rec.Vehicle, Name: reg.Name, Tags: reg.Tags, People: reg.People, Component: k.Component,
		Task: k.Rule, Title: d.title(), Stage: TaskStages[d.Stage], Limit: d.Limit.String(), Why: f.why(d),
		Cautions: d.cautions(), FollowUp: d.fu != nil,
	}
	item.PulledIn, item.Figures = f.pulledIn(d), f.def(d.comp).figures()
	item.OwnCautions = f.Book.Own(item.Cautions)
	if d.noHistory {
		item.Limit = noHistory
	} else if d.point.HasDate {
		item.DueDate = d.point.Date.String()
	}
	if d.task != nil {
		item.Statutory = d.task.Statutory
		for _, n := range d.task.Needs {
			item.Needs = append(item.Needs, Need(n))
		}
		item.LastDone = lastDone(d)
	}
	if d.postponed != nil {
		item.Postponed = postponedBy(d.postponed)
	}
	item.Early, item.Likely, item.Late = f.forecastDates(d)
	if at, past, hours, ok := f.duePlace(d); ok {
		item.DueAt, item.PastBy, item.Unit = &at, &past, "m"
		if hours {
			item.Unit = "s"
		}
	}
	if a := f.rec.alarm(k); a != nil {
		item.Shelved = a.ShelvedUntil != 0
	}
	return item
}
