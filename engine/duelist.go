package engine

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/interval"
	"telltale/rules/unit"
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
		f := p.view(p.record(v))
		if q.On != "" {
			f.asOf(q.On)
		}
		if reg := f.rec.registered(); f.Book != nil && !f.rec.Out && reg != nil && !reg.Retired && q.tagged(reg) {
			out = append(out, f.due(q)...)
		}
	}
	SortDue(out)
	return out
}

// asOf puts the record and the clock as of the end of a local date.
func (f *view) asOf(on string) {
	day, err := interval.ParseDate(on)
	reg := f.rec.registered()
	if err != nil || reg == nil {
		f.rec = &Record{Vehicle: f.rec.Vehicle}
		return
	}
	then := *f.law
	then.Now = day.AddDays(1).Start(reg.zone()).Add(-time.Second)
	if then.Now.Before(f.Now) {
		f.rec, f.kept = f.rec.until(then.Now.UnixNano()), nil
	}
	f.law, f.when = &then, then.Now
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

func (f *view) due(q DueQuery) []DueItem {
	var out []DueItem
	add := func(ts *taskState, k AlarmKey) {
		v := f.verdict(ts)
		if v.stage > 0 || f.ahead(ts, v, q.Ahead) {
			out = append(out, f.dueItem(ts, v, k))
		}
	}
	f.eachTask(add)
	return out
}

// ahead reports whether the task is likely to come due within so many days.
func (f *view) ahead(ts *taskState, v verdict, n int) bool {
	if n <= 0 || ts.waiting || !v.state.HasToday {
		return false
	}
	limit := v.state.Today.AddDays(n)
	return ts.point.HasDate && ts.point.Date.Compare(limit) <= 0 || v.sure && v.likely.Compare(limit) <= 0
}

func (f *view) dueItem(ts *taskState, v verdict, k AlarmKey) DueItem {
	reg := f.applied().reg
	d := DueItem{
		Vehicle: f.rec.Vehicle, Name: reg.Name, Tags: reg.Tags, People: reg.People, Component: k.Component,
		Task: k.Rule, Title: ts.title(), Stage: TaskStages[v.stage], Limit: v.Limit.String(), Why: f.why(ts, v),
		Cautions: ts.cautions(), FollowUp: ts.fu != nil,
	}
	d.PulledIn, d.Figures = f.pulledIn(ts), f.def(ts.comp).figures()
	d.OwnCautions = f.Book.Own(d.Cautions)
	if ts.noHistory {
		d.Limit = noHistory
	}
	if ts.task != nil {
		d.Statutory = ts.task.Statutory
		for _, n := range ts.task.Needs {
			d.Needs = append(d.Needs, Need(n))
		}
		d.LastDone = lastDone(ts)
	}
	f.dueDates(&d, ts, v)
	f.dueMeter(&d, ts, v)
	if i := f.rec.alarm(k); i >= 0 {
		d.Shelved = f.rec.Alarms[i].ShelvedUntil != 0
	}
	return d
}

// noHistory stands for the limit of a task that nobody knows when it was last done.
const noHistory = "no history"

// duePoint is where a task stands, in the book's units.
func (f *view) duePoint(ts *taskState, v verdict) *DuePoint {
	d := DueItem{Limit: v.Limit.String()}
	if ts.noHistory {
		return &DuePoint{Limit: noHistory}
	}
	f.dueDates(&d, ts, v)
	f.dueMeter(&d, ts, v)
	p := &DuePoint{Limit: d.Limit, Date: d.DueDate, Early: d.Early, Likely: d.Likely, Late: d.Late, PulledIn: f.pulledIn(ts)}
	if v.state.HasToday {
		p.On = v.state.Today.String()
	}
	if d.DueAt != nil {
		quantity := func(base float64) *unit.Quantity {
			value, u := f.shown(base, d.Unit == "s")
			return &unit.Quantity{Value: value, Unit: u}
		}
		p.At, p.Past = quantity(*d.DueAt), quantity(*d.PastBy)
	}
	return p
}

// dueDates fills in the date of the calendar limit and the forecast.
func (f *view) dueDates(d *DueItem, ts *taskState, v verdict) {
	if ts.point.HasDate && !ts.noHistory {
		d.DueDate = ts.point.Date.String()
	}
	if v.sure && v.stage < interval.Due {
		reach := v.reach(f.applied().zone)
		d.Early, d.Likely, d.Late = reach[0].String(), reach[1].String(), reach[2].String()
	}
}

// dueMeter fills in the meter limit: the one that decides, else the first there is.
func (f *view) dueMeter(d *DueItem, ts *taskState, v verdict) {
	c, point := v.meter, ts.point.Distance
	if c == nil {
		c = f.rec.chainFor(f.applied().reg, f.def(ts.comp), math.IsNaN(point))
	}
	if c == nil || ts.noHistory || ts.waiting {
		return
	}
	d.Unit = "m"
	if c.hours {
		point, d.Unit = ts.point.Hours, "s"
	}
	last, ok := c.last(math.MaxInt64)
	if !ok || math.IsNaN(point) {
		d.Unit = ""
		return
	}
	at, past := point-(last.life-last.face), last.life-point
	d.DueAt, d.PastBy = &at, &past
}

func lastDone(ts *taskState) string {
	switch {
	case ts.last != nil:
		return ts.last.Date.String()
	case ts.noHistory || ts.from.Date.IsZero() && !ts.waiting:
		return noHistory
	case ts.waiting:
		return "counted from the first reading"
	}
	return "counted from " + ts.from.Date.String()
}

// turn is this partition's part of a digest.
func (p *Partition) turn(d *TurnData) *TurnPart {
	return &TurnPart{Digest: d.Digest, Date: d.Date, Now: p.law.Now, Items: p.Due(DueQuery{}), Alarms: p.Alarms(), Vehicles: len(p.records) + len(p.packed)}
}
