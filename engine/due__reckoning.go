package engine

import (
	"math"
	"slices"
	"telltale/engine/interval"
	"telltale/rules/unit"
	"time"
)

// Reckoning is how the due point of one task of a vehicle (and component) came
// about. Meter values are face values of the instrument as it is today, in the
// book's unit of distance or in hours; dates are local, YYYY-MM-DD.
type Reckoning struct {
	Vehicle   string `json:"vehicle"`
	Component string `json:"component,omitempty"`
	Task      string `json:"task"`
	Title     string `json:"title"`
	FollowUp  bool   `json:"followUp,omitempty"`
	Lapses    string `json:"lapses,omitempty"` // how far past its point a follow-up is not asked for any more
	Stage     string `json:"stage"`
	Limit     string `json:"limit"` // that decides: distance, hours, time, none or "no history"
	// LastDone is the date of the last time, of a follow-up that of its opening; By
	// is the event behind it. Policy stands in for it where the history is unknown.
	LastDone  string `json:"lastDone,omitempty"`
	By        *ID    `json:"by,omitempty"`
	Estimated bool   `json:"estimated,omitempty"` // the meter was not read then, but before
	Policy    string `json:"policy,omitempty"`
	// Factor is what the intervals were multiplied by, FactorFrom the expression it
	// came from; without an answer (Missing) the factor is 1.
	Factor     float64  `json:"factor"`
	FactorFrom string   `json:"factorFrom,omitempty"`
	Missing    []string `json:"missing,omitempty"`
	// Postponed says who moved the due point, and why.
	Postponed string `json:"postponed,omitempty"`
	// PulledIn are the alarms that moved the due point nearer.
	PulledIn []PulledIn      `json:"pulledIn,omitempty"`
	Limits   []ReckonedLimit `json:"limits,omitempty"`
	// Early, Likely and Late are the dates between which the first meter limit is
	// reached in four of five cases.
	Early  string `json:"early,omitempty"`
	Likely string `json:"likely,omitempty"`
	Late   string `json:"late,omitempty"`
}

// ReckonedLimit is one limit of a task: distance, hours or time. A meter limit
// has the values, a time limit the dates; either has those that apply.
type ReckonedLimit struct {
	Limit   string `json:"limit"`
	Decides bool   `json:"decides,omitempty"`
	Every   string `json:"every"` // after the factor, as "45,000 km" or "36 months"
	// Within is how far from what raised an alarm it is asked for, where that is nearer.
	Within string `json:"within,omitempty"`
	// Source says where the interval comes from.
	Source string `json:"source,omitempty"`
	// From is where the limit counts from, Soon, Due and Overdue where those stages
	// begin; past Overdue, not at it.
	From    *unit.Quantity `json:"from,omitempty"`
	Soon    *unit.Quantity `json:"soon,omitempty"`
	Due     *unit.Quantity `json:"due,omitempty"`
	Overdue *unit.Quantity `json:"overdue,omitempty"`

	FromDate    string         `json:"fromDate,omitempty"`
	SoonDate    string         `json:"soonDate,omitempty"`
	DueDate     string         `json:"dueDate,omitempty"`
	OverdueDate string         `json:"overdueDate,omitempty"` // the last day that is not overdue
	Meter       *ReckonedMeter `json:"meter,omitempty"`
}

// ReckonedMeter is where a meter stands: as read, and apart from that as its
// usage has it. PerDay is the usage, with its range in four of five cases; Now the
// estimate for today, never to be shown as if it were read.
type ReckonedMeter struct {
	Name       string         `json:"name"`
	Read       *unit.Quantity `json:"read,omitempty"`
	ReadOn     string         `json:"readOn,omitempty"`
	PerDay     *unit.Quantity `json:"perDay,omitempty"`
	PerDayLow  *unit.Quantity `json:"perDayLow,omitempty"`
	PerDayHigh *unit.Quantity `json:"perDayHigh,omitempty"`
	LaidUp     bool           `json:"laidUp,omitempty"` // it has stood nearly still of late
	Readings   int            `json:"readings,omitempty"`
	Now        *unit.Quantity `json:"now,omitempty"`
	NowLeast   *unit.Quantity `json:"nowLeast,omitempty"`
	NowMost    *unit.Quantity `json:"nowMost,omitempty"`
}

// reckonings are those of every task and follow-up, in order of task and component, or
// of one task alone.
func reckonings(f *view, task string) []Reckoning {
	var out []Reckoning
	f.eachTask(func(d *due, k AlarmKey) {
		if task == "" || task == k.Rule {
			out = append(out, f.reckoning(d, k))
		}
	})
	slices.SortStableFunc(out, func(a, b Reckoning) int {
		return AlarmKey{a.Task, a.Component}.compare(AlarmKey{b.Task, b.Component})
	})
	return out
}

func (f *view) reckoning(d *due, k AlarmKey) Reckoning {
	f.judgeDue(d)
	r := Reckoning{
		Vehicle: f.rec.Vehicle, Component: k.Component, Task: k.Rule, Title: d.title(), FollowUp: d.fu != nil,
		Stage: TaskStages[d.Stage], Limit: d.Limit.String(), Factor: d.plan.Shorten,
	}
	if d.fu != nil {
		r.Lapses = f.withinWords(interval.Limits(d.fu.Lapses))
	}
	if d.last != nil {
		r.LastDone, r.Estimated = d.last.Date.String(), d.last.Estimated
		if d.by != (ID{}) {
			r.By = &d.by
		}
	} else {
		r.Policy = lastDone(d)
	}
	if d.noHistory {
		r.Limit = r.Policy
	}
	if d.task != nil && d.task.Shorten != nil {
		r.FactorFrom = d.task.Shorten.Text
		_, r.Missing = f.Shorten.Number(d.task.Shorten, f.factsAt(d.comp, lastPlace, math.MaxInt64))
	}
	if d.postponed != nil {
		r.Postponed = postponedBy(d.postponed)
	}
	r.PulledIn = f.pulledIn(d)
	if d.sure {
		reach := d.reach(f.applied().zone)
		r.Early, r.Likely, r.Late = reach[0].String(), reach[1].String(), reach[2].String()
	}
	if d.noHistory || d.waiting { // there is no point, and nothing that it counts from
		none := *d
		none.from = interval.Done{Distance: math.NaN(), Hours: math.NaN()}
		none.point = interval.Point{Distance: math.NaN(), Hours: math.NaN()}
		d = &none
	}
	r.Limits = f.reckonedLimits(d)
	return r
}

func (f *view) reckonedLimits(d *due) []ReckonedLimit {
	every, tol := d.plan.Interval(), d.plan.Tolerance()
	var out []ReckonedLimit
	if every.Distance > 0 || !math.IsNaN(d.point.Distance) {
		l := f.reckonedMeter(d, false, [4]float64{d.countsFrom(interval.ByDistance).Distance, d.point.Distance, d.plan.Early.Distance, tol.Distance})
		l.Limit, l.Decides = interval.ByDistance.String(), d.Limit == interval.ByDistance
		l.Every, l.Within = f.amount(every.Distance, false), f.withinWords(interval.Limits{Distance: d.plan.Pulled.Distance})
		out = append(out, l)
	}
	if every.Hours > 0 || !math.IsNaN(d.point.Hours) {
		l := f.reckonedMeter(d, true, [4]float64{d.countsFrom(interval.ByHours).Hours, d.point.Hours, d.plan.Early.Hours, tol.Hours})
		l.Limit, l.Decides = interval.ByHours.String(), d.Limit == interval.ByHours
		l.Every, l.Within = f.amount(every.Hours, true), f.withinWords(interval.Limits{Hours: d.plan.Pulled.Hours})
		out = append(out, l)
	}
	if every.Months+every.Days > 0 || d.point.HasDate {
		out = append(out, d.reckonedTime(every, tol, d.Limit == interval.ByTime))
	}
	for i := range out {
		if out[i].Within != "" {
			out[i].Soon, out[i].SoonDate = nil, "" // at once
		}
	}
	for i := range out {
		if d.task != nil {
			out[i].Source = d.task.Sources.Of("every " + out[i].Limit)
		}
	}
	return out
}

func (d *due) reckonedTime(every, tol interval.Limits, decides bool) ReckonedLimit {
	pulled := d.plan.Pulled
	l := ReckonedLimit{Limit: interval.ByTime.String(), Decides: decides, Every: calendarTime(every), Within: calendarTime(pulled)}
	if !d.point.HasDate {
		return l
	}
	due := d.point.Date
	l.FromDate, l.DueDate = d.countsFrom(interval.ByTime).Date.String(), due.String()
	l.OverdueDate = due.AddMonths(tol.Months).AddDays(tol.Days).String()
	if e := d.plan.Early; e.Months+e.Days > 0 {
		l.SoonDate = due.AddMonths(-e.Months).AddDays(-e.Days).String()
	}
	return l
}

// reckonedMeter fills in a meter limit from where it counts from, the due point,
// the early distance and the tolerance.
func (f *view) reckonedMeter(d *due, hours bool, v [4]float64) ReckonedLimit {
	var l ReckonedLimit
	a := f.applied()
	c := f.chain(d.comp, hours)
	if c == nil {
		return l
	}
	l.Meter = &ReckonedMeter{Name: c.name}
	last, ok := c.last(math.MaxInt64)
	if !ok {
		return l
	}
	shift := last.life - last.face
	l.From, l.Due, l.Overdue = f.quantity(v[0]-shift, hours), f.quantity(v[1]-shift, hours), f.quantity(v[1]+v[3]-shift, hours)
	if v[2] > 0 {
		l.Soon = f.quantity(v[1]-v[2]-shift, hours)
	}
	m := l.Meter
	m.Read, m.ReadOn = f.quantity(last.face, hours), interval.DateOf(time.Unix(0, last.at), a.zone).String()
	u := c.reckonUsage(math.MaxInt64)
	m.Readings = u.N
	if !u.OK {
		return l
	}
	const day = 86400
	m.PerDay, m.PerDayLow, m.PerDayHigh, m.LaidUp = f.quantity(u.PerSecond*day, hours), f.quantity(u.Low*day, hours), f.quantity(u.High*day, hours), u.LaidUp
	est, low, high := u.Now(seconds(last.at), last.life, f.Now.Unix())
	m.Now, m.NowLeast, m.NowMost = f.quantity(est-shift, hours), f.quantity(low-shift, hours), f.quantity(high-shift, hours)
	return l
}
