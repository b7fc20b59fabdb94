package due

import (
	"math"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/defect"
	"telltale/engine/dueword"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/unit"
)

// Reckoning is how the due point of one task of a vehicle (and component) came
// about. Meter values are face values of the instrument as it is today, in the
// reader's unit of distance or in hours; dates are local, YYYY-MM-DD.
type Reckoning struct {
	Vehicle   string      `json:"vehicle"`
	Component string      `json:"component,omitempty"`
	Task      string      `json:"task"`
	Title     string      `json:"title"`
	FollowUp  bool        `json:"followUp,omitempty"`
	Lapses    string      `json:"lapses,omitempty"` // how far past its point a follow-up is not asked for any more
	Stage     alarm.Stage `json:"stage"`
	Limit     string      `json:"limit"` // that decides: distance, hours, time, none or "no history"
	// LastDone is the date of the last time, of a follow-up that of its opening; By
	// is the event behind it. Policy stands in for it where the history is unknown.
	LastDone  string    `json:"lastDone,omitempty"`
	By        *event.ID `json:"by,omitempty"`
	Estimated bool      `json:"estimated,omitempty"` // the meter was not read then, but before
	Policy    string    `json:"policy,omitempty"`
	// Factor is what the intervals were multiplied by, FactorFrom the expression it
	// came from; without an answer (Missing) the factor is 1.
	Factor     float64  `json:"factor"`
	FactorFrom string   `json:"factorFrom,omitempty"`
	Missing    []string `json:"missing,omitempty"`
	// WhenReported: it is due when somebody reports a defect; Defects are those that stand.
	WhenReported bool            `json:"whenReported,omitempty"`
	Defects      []defect.Defect `json:"defects,omitempty"`
	// Postponed says who moved the due point, and why.
	Postponed string `json:"postponed,omitempty"`
	// Untold says since when the distance or running time cannot be told.
	Untold string `json:"untold,omitempty"`
	// PulledIn are the alarms that moved the due point nearer.
	PulledIn []alarm.PulledIn `json:"pulledIn,omitempty"`
	Limits   []ReckonedLimit  `json:"limits,omitempty"`
	// Worn is how far what is measured by hand is from where the task is due.
	Worn []ReckonedWear `json:"worn,omitempty"`
	// Early, Likely and Late are the dates between which the first meter limit is
	// reached in four of five cases; Range says how often the fleet's forecasts were right.
	Early  string `json:"early,omitempty"`
	Likely string `json:"likely,omitempty"`
	Late   string `json:"late,omitempty"`
	Range  string `json:"range,omitempty"`
}

// ReckonedLimit is one limit of a task: distance, hours or time. A meter limit
// has the values, a time limit the dates; either has those that apply.
type ReckonedLimit struct {
	Limit   string `json:"limit"`
	Decides bool   `json:"decides,omitempty"`
	Every   string `json:"every"` // after the factor, as "45,000 km" or "36 months"
	// Within is how far from what raised an alarm it is asked for, where that is nearer.
	Within string `json:"within,omitempty"`
	// WornBy is the measure that puts the point there, in place of an interval.
	WornBy string `json:"wornBy,omitempty"`
	// Source says where the interval comes from.
	Source string `json:"source,omitempty"`
	// What lies before the instrument in use has no face value; InAll has the values over
	// replaced instruments, where there were others.
	Places
	InAll *Places `json:"inAll,omitempty"`
	// Past: its point is reached, by what was read or by the date.
	Past bool `json:"past,omitempty"`

	// ValidUntil is the date on the paper of the last time, which is the due date.
	ValidUntil  string         `json:"validUntil,omitempty"`
	FromDate    string         `json:"fromDate,omitempty"`
	SoonDate    string         `json:"soonDate,omitempty"`
	DueDate     string         `json:"dueDate,omitempty"`
	OverdueDate string         `json:"overdueDate,omitempty"` // the last day that is not overdue
	Meter       *ReckonedMeter `json:"meter,omitempty"`
}

// Places are where a meter limit counts from, and where its stages Soon, Due and Overdue
// begin; past Overdue, not at it.
type Places struct {
	From    *unit.Quantity `json:"from,omitempty"`
	Soon    *unit.Quantity `json:"soon,omitempty"`
	Due     *unit.Quantity `json:"due,omitempty"`
	Overdue *unit.Quantity `json:"overdue,omitempty"`
}

// ReckonedMeter is where a meter stands: as read, and apart from that as its
// usage has it. PerDay is the usage, with its range in four of five cases; Now the
// estimate for today, never to be shown as if it were read.
type ReckonedMeter struct {
	Name       string         `json:"name"`
	Read       *unit.Quantity `json:"read,omitempty"`
	ReadInAll  *unit.Quantity `json:"readInAll,omitempty"` // over replaced instruments
	ReadOn     string         `json:"readOn,omitempty"`
	PerDay     *unit.Quantity `json:"perDay,omitempty"`
	PerDayLow  *unit.Quantity `json:"perDayLow,omitempty"`
	PerDayHigh *unit.Quantity `json:"perDayHigh,omitempty"`
	LaidUp     bool           `json:"laidUp,omitempty"` // it has stood nearly still of late
	Readings   int            `json:"readings,omitempty"`
	Now        *unit.Quantity `json:"now,omitempty"`
	NowLeast   *unit.Quantity `json:"nowLeast,omitempty"`
	NowMost    *unit.Quantity `json:"nowMost,omitempty"`
	Untold     bool           `json:"untold,omitempty"` // it went back since, and nobody said why
}

// Reckonings are those of every task and follow-up, in order of task and component, or
// of one task alone.
func Reckonings(v *judge.View, task string) []Reckoning {
	var out []Reckoning
	v.EachTask(func(d *judge.Due, k alarm.Key) {
		if task == "" || task == k.Rule {
			out = append(out, reckoning(v, d, k))
		}
	})
	slices.SortStableFunc(out, func(a, b Reckoning) int {
		return alarm.Key{Rule: a.Task, Component: a.Component}.Compare(alarm.Key{Rule: b.Task, Component: b.Component})
	})
	return out
}

func reckoning(v *judge.View, d *judge.Due, k alarm.Key) Reckoning {
	v.JudgeDue(d)
	r := Reckoning{
		Vehicle: v.Rec.Shown(), Component: k.Component, Task: k.Rule, Title: d.Title(), FollowUp: d.FollowUp != nil,
		Stage: alarm.TaskStages[d.Stage], Limit: d.Limit.String(), Factor: d.Plan.Shorten,
	}
	if d.FollowUp != nil {
		r.Lapses = v.WithinWords(interval.Limits(d.FollowUp.Lapses))
	}
	if d.Last != nil {
		r.LastDone, r.Estimated = d.Last.Date.String(), d.Last.Estimated
		if d.By != (event.ID{}) {
			r.By = &d.By
		}
	} else {
		r.Policy = dueword.LastDone(d)
	}
	if d.NoHistory {
		r.Limit = alarm.NoHistory
	}
	if d.Task != nil && d.Task.Shorten != nil {
		r.FactorFrom = d.Task.Shorten.Text
		_, missing := v.Shorten.Number(d.Task.Shorten, v.FactsAt(d.Comp, judge.Judgement{Before: record.LastPlace, At: math.MaxInt64}))
		r.Missing = missing
	}
	r.Postponed, r.Untold = dueword.PostponedBy(d.Postponed), d.Untold
	r.PulledIn = v.PulledIn(d)
	if d.Sure {
		reach := dueword.Reach(v, d)
		r.Early, r.Likely, r.Late = reach[0].String(), reach[1].String(), reach[2].String()
		r.Range = dueword.RangeWords(v, d)
	}
	if d.Task != nil && d.Task.Reported {
		r.WhenReported, r.Defects = true, d.Defects
		if len(d.Defects) == 0 || d.Task.Tolerance == (rules.Tolerance{}) {
			return r // there is no date to tell of
		}
	}
	if d.NoHistory || d.Waiting { // there is no point, and nothing that it counts from
		none := *d
		none.From = interval.Done{Distance: math.NaN(), Hours: math.NaN()}
		none.Point = interval.Point{Distance: math.NaN(), Hours: math.NaN()}
		d = &none
	}
	r.Limits = reckonedLimits(v, d)
	r.Worn = reckonedWear(v, d)
	return r
}

func reckonedLimits(v *judge.View, d *judge.Due) []ReckonedLimit {
	every, tol := d.Plan.Interval(), d.Plan.Tolerance()
	var out []ReckonedLimit
	if every.Distance > 0 || !math.IsNaN(d.Point.Distance) {
		l := reckonedMeter(v, d, false, [4]float64{d.CountsFrom(interval.ByDistance).Distance, d.Point.Distance, d.Plan.Early.Distance, tol.Distance})
		l.Limit, l.Decides = interval.ByDistance.String(), d.Limit == interval.ByDistance
		l.Every, l.Within = v.Amount(every.Distance, false), v.WithinWords(interval.Limits{Distance: d.Plan.Pulled.Distance})
		out = append(out, l)
	}
	if every.Hours > 0 || !math.IsNaN(d.Point.Hours) {
		l := reckonedMeter(v, d, true, [4]float64{d.CountsFrom(interval.ByHours).Hours, d.Point.Hours, d.Plan.Early.Hours, tol.Hours})
		l.Limit, l.Decides = interval.ByHours.String(), d.Limit == interval.ByHours
		l.Every, l.Within = v.Amount(every.Hours, true), v.WithinWords(interval.Limits{Hours: d.Plan.Pulled.Hours})
		out = append(out, l)
	}
	if every.Months+every.Days > 0 || d.Point.HasDate {
		out = append(out, reckonedTime(d, every, tol, d.Limit == interval.ByTime))
	}
	for i := range out {
		if out[i].Within != "" {
			out[i].Soon, out[i].SoonDate = nil, "" // at once
			if out[i].InAll != nil {
				out[i].InAll.Soon = nil
			}
		}
	}
	for i := range out {
		if w := d.WornBy(limitNamed(out[i].Limit)); w != nil {
			out[i].WornBy, out[i].Every = w.Measure.Name, ""
		}
		if d.Task != nil {
			out[i].Source = d.Task.Sources.Of("every " + out[i].Limit)
		}
	}
	return out
}

func reckonedTime(d *judge.Due, every, tol interval.Limits, decides bool) ReckonedLimit {
	pulled := d.Plan.Pulled
	l := ReckonedLimit{Limit: interval.ByTime.String(), Decides: decides, Every: judge.CalendarTime(every), Within: judge.CalendarTime(pulled)}
	if d.Plan.Year.Month != 0 {
		l.Every = "year on " + d.Plan.Year.String()
	}
	if d.Last != nil && !d.Last.Until.IsZero() {
		l.ValidUntil = d.Last.Until.String()
	}
	if !d.Point.HasDate {
		return l
	}
	due := d.Point.Date
	l.Past = d.State.HasToday && d.State.Today > due
	l.FromDate, l.DueDate = d.CountsFrom(interval.ByTime).Date.String(), due.String()
	l.OverdueDate = due.AddMonths(tol.Months).AddDays(tol.Days).String()
	if e := d.Plan.Early; e.Months+e.Days > 0 {
		l.SoonDate = due.AddMonths(-e.Months).AddDays(-e.Days).String()
	}
	return l
}

// reckonedMeter fills in a meter limit from where it counts from, the due point,
// the early distance and the tolerance.
func reckonedMeter(v *judge.View, d *judge.Due, hours bool, value [4]float64) ReckonedLimit {
	var l ReckonedLimit
	c := v.DueChain(d, hours)
	if c == nil {
		return l
	}
	l.Meter = MeterOf(v, c)
	last, ok := c.LastRead(math.MaxInt64)
	if !ok {
		return l
	}
	shift := last.Life - last.Face
	l.Places, l.Past = places(v, value, shift, hours), last.Life >= value[1]
	if l.Meter.ReadInAll != nil {
		all := places(v, value, 0, hours)
		l.InAll = &all
	}
	return l
}

// MeterOf is where a meter stands, and how much it is used.
func MeterOf(v *judge.View, c *record.Chain) *ReckonedMeter {
	m := &ReckonedMeter{Name: c.Name}
	last, ok := c.LastRead(math.MaxInt64)
	if !ok {
		return m
	}
	hours, shift := c.Hours, last.Life-last.Face
	if _, replaced := c.Face(last.Life); replaced {
		m.ReadInAll = v.Quantity(last.Life, hours)
	}
	m.Read, m.ReadOn = v.Quantity(last.Face, hours), v.DayOf(last.At)
	u := c.ReckonUsage(math.MaxInt64)
	m.Readings = u.N
	if _, untold := c.UntoldSince(); untold || !u.OK {
		m.Untold = untold
		return m
	}
	const day = 86400
	m.PerDay, m.PerDayLow, m.PerDayHigh, m.LaidUp = v.Quantity(u.PerSecond*day, hours), v.Quantity(u.Low*day, hours), v.Quantity(u.High*day, hours), u.LaidUp
	est, low, high := u.Now(record.Seconds(last.At), last.Life, v.Now.Unix())
	m.Now, m.NowLeast, m.NowMost = v.Quantity(est-shift, hours), v.Quantity(low-shift, hours), v.Quantity(high-shift, hours)
	return m
}

// places are where the limit counts from, its due point, the early distance and the
// tolerance put its stages, on an instrument that lies by so much under the life values.
func places(v *judge.View, value [4]float64, shift float64, hours bool) Places {
	at := func(life float64) *unit.Quantity {
		if life < shift {
			return nil // on an instrument that was in use before
		}
		return v.Quantity(life-shift, hours)
	}
	p := Places{From: at(value[0]), Due: at(value[1]), Overdue: at(value[1] + value[3])}
	if value[2] > 0 {
		p.Soon = at(value[1] - value[2])
	}
	return p
}
