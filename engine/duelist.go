package engine

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/interval"
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

// Due is the due list as the records stand, ordered by what to do first:
// overdue, due, soon, then by forecast.
func (p *Partition) Due(q DueQuery) []DueItem {
	var out []DueItem
	for _, v := range p.named(q.Vehicle) {
		out = append(out, listDue(p.view(p.record(v)), q)...)
	}
	SortDue(out)
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

// SortDue orders a due list, or several put together, by what to do first: overdue,
// due, soon, later. Of what is overdue or due, statutory work comes first; the rest
// goes by date. A line without one comes before those, since nobody knows how late it
// is.
func SortDue(list []DueItem) {
	rank := map[string]int{"overdue": 0, "due": 1, "soon": 2, normal: 3}
	slices.SortStableFunc(list, func(a, b DueItem) int {
		return cmp.Or(cmp.Compare(rank[a.Stage], rank[b.Stage]), statutoryFirst(&a, &b), strings.Compare(a.first(), b.first()),
			strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Task, b.Task), strings.Compare(a.Component, b.Component))
	})
}

// statutoryFirst orders two lines of one stage: what the law asks for before the
// rest of what is overdue or due; what is only soon goes by its date (0).
func statutoryFirst(a, b *DueItem) int {
	switch {
	case a.Statutory == b.Statutory || a.Stage != "overdue" && a.Stage != "due":
		return 0
	case a.Statutory:
		return -1
	}
	return 1
}

// first is the date that a line is ordered by, "" for one without any.
func (d *DueItem) first() string {
	if d.DueDate == "" || d.Likely == "" {
		return d.DueDate + d.Likely
	}
	return min(d.DueDate, d.Likely)
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
	if i := f.rec.alarm(k); i >= 0 {
		item.Shelved = f.rec.Alarms[i].ShelvedUntil != 0
	}
	return item
}

// noHistory stands for the limit of a task that nobody knows when it was last done.
const noHistory = "no history"

// duePoint is where a task stands, in the book's units.
func (f *view) duePoint(d *due) *DuePoint {
	if d.noHistory {
		return &DuePoint{Limit: noHistory}
	}
	p := &DuePoint{Limit: d.Limit.String(), PulledIn: f.pulledIn(d)}
	if d.point.HasDate {
		p.Date = d.point.Date.String()
	}
	p.Early, p.Likely, p.Late = f.forecastDates(d)
	if d.state.HasToday {
		p.On = d.state.Today.String()
	}
	if at, past, hours, ok := f.duePlace(d); ok {
		p.At, p.Past = f.quantity(at, hours), f.quantity(past, hours)
	}
	return p
}

// forecastDates are those between which the first limit is reached, of a task that is
// not due yet; "" where they are not known.
func (f *view) forecastDates(d *due) (early, likely, late string) {
	if !d.sure || d.Stage >= interval.Due {
		return "", "", ""
	}
	reach := d.reach(f.applied().zone)
	return reach[0].String(), reach[1].String(), reach[2].String()
}

// duePlace is the meter limit that decides, else the first there is: the face value at
// which the task is due, and how far past it the meter is, in metres or seconds.
func (f *view) duePlace(d *due) (at, past float64, hours, ok bool) {
	c, point := d.meter, d.point.Distance
	if c == nil {
		c = f.chain(d.comp, math.IsNaN(point))
	}
	if c == nil || d.noHistory || d.waiting {
		return 0, 0, false, false
	}
	if c.hours {
		point = d.point.Hours
	}
	last, ok := c.last(math.MaxInt64)
	return point - (last.life - last.face), last.life - point, c.hours, ok && !math.IsNaN(point)
}

func lastDone(d *due) string {
	switch {
	case d.last != nil:
		return d.last.Date.String()
	case d.noHistory || d.from.Date.IsZero() && !d.waiting:
		return noHistory
	case d.waiting:
		return "counted from the first reading"
	}
	return "counted from " + d.from.Date.String()
}

// turn is this partition's part of a digest.
func (p *Partition) turn(d *TurnData) *TurnPart {
	return &TurnPart{Digest: d.Digest, Date: d.Date, Now: p.law.Now, Items: p.Due(DueQuery{}), Alarms: p.Alarms(), Vehicles: len(p.records) + len(p.packed)}
}
