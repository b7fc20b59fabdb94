package engine

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"telltale/engine/interval"
)

// DueQuery says what a due list should hold.
type DueQuery struct {
	Vehicle string // one vehicle; all where empty
	// Ahead also lists what is likely to come due within so many days, beyond
	// what is soon already.
	Ahead int
}

// Due is the due list as the records stand, ordered by what to do first:
// overdue, due, soon, then by forecast.
func (p *Partition) Due(q DueQuery) []DueItem {
	var out []DueItem
	for _, v := range p.Vehicles() {
		if r := p.records[v]; p.book != nil && !r.Out && (q.Vehicle == "" || q.Vehicle == v) {
			if reg := r.registered(); reg != nil && !reg.Retired {
				out = append(out, p.dueOf(r, q)...)
			}
		}
	}
	SortDue(out)
	return out
}

// SortDue orders a due list, or several put together, by what to do first: overdue,
// due, soon, later. Of what is overdue or due, statutory work comes first; the rest
// goes by date.
func SortDue(list []DueItem) {
	rank := map[string]int{"overdue": 0, "due": 1, "soon": 2, normal: 3}
	slices.SortStableFunc(list, func(a, b DueItem) int {
		return cmp.Or(cmp.Compare(rank[a.Stage], rank[b.Stage]), statutoryFirst(a, b), strings.Compare(a.first(), b.first()),
			strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Task, b.Task), strings.Compare(a.Component, b.Component))
	})
}

// statutoryFirst puts what the law asks for before the rest of what is due; what
// is only soon goes by its date.
func statutoryFirst(a, b DueItem) int {
	switch {
	case a.Statutory == b.Statutory || a.Stage != "overdue" && a.Stage != "due":
		return 0
	case a.Statutory:
		return -1
	}
	return 1
}

// first is the date that a line is ordered by; one without any comes last.
func (d *DueItem) first() string {
	first := "9999"
	for _, s := range []string{d.DueDate, d.Likely} {
		if s != "" {
			first = min(first, s)
		}
	}
	return first
}

func (p *Partition) dueOf(r *Record, q DueQuery) []DueItem {
	rec := *r
	f := &fold{p: p, rec: &rec, when: p.now}
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
func (f *fold) ahead(ts *taskState, v verdict, n int) bool {
	if n <= 0 || ts.waiting || !v.state.HasToday {
		return false
	}
	limit := v.state.Today.AddDays(n)
	return ts.point.HasDate && ts.point.Date.Compare(limit) <= 0 || v.sure && v.reach[1].Compare(limit) <= 0
}

func (f *fold) dueItem(ts *taskState, v verdict, k AlarmKey) DueItem {
	reg := f.applied().reg
	d := DueItem{
		Vehicle: f.rec.Vehicle, Name: reg.Name, Tags: reg.Tags, People: reg.People, Component: k.Component,
		Task: k.Rule, Title: ts.title(), Stage: TaskStages[v.stage], Limit: v.Limit.String(), Why: f.why(ts, v),
		Cautions: ts.cautions(), FollowUp: ts.fu != nil,
	}
	if ts.noHistory {
		d.Limit = "no history"
	}
	if ts.task != nil {
		d.Statutory = ts.task.Statutory
		for _, n := range ts.task.Needs {
			d.Needs = append(d.Needs, Need(n))
		}
		d.LastDone = lastDone(ts)
	}
	if ts.point.HasDate && !ts.noHistory {
		d.DueDate = ts.point.Date.String()
	}
	f.dueMeter(&d, ts, v)
	if v.sure && v.stage < interval.Due {
		d.Early, d.Likely, d.Late = v.reach[0].String(), v.reach[1].String(), v.reach[2].String()
	}
	if i := f.rec.alarm(k); i >= 0 {
		d.Shelved = f.rec.Alarms[i].ShelvedUntil != 0
	}
	return d
}

// dueMeter fills in the meter limit: the one that decides, else the first there is.
func (f *fold) dueMeter(d *DueItem, ts *taskState, v verdict) {
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
	case ts.noHistory:
		return "no history"
	case ts.waiting:
		return "counted from the first reading"
	}
	return "counted from " + ts.from.Date.String()
}

// turn is this partition's part of a digest.
func (p *Partition) turn(d *TurnData) *TurnPart {
	return &TurnPart{Digest: d.Digest, Date: d.Date, Now: p.now, Items: p.Due(DueQuery{}), Alarms: p.Alarms(), Vehicles: len(p.records)}
}
