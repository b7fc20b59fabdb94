package judge

import (
	"math"
	"time"

	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules/unit"
)

// A person may postpone a task, for a reason and up to a limit: a date or a distance.
// That is a date at most one interval of the task after the day of the answer, or at
// most one interval's distance beyond the due point, since what waits longer is not put
// off but left out. The task's other limits wait with it, for
// one interval at most as well; so a vehicle that stands still, or runs more than
// anybody thought, is not forgotten. Past the limit the task is due, and overdue past its
// tolerance, as at any point. Common practice, no source.

// longestWait is how long a task waits that has no limit of time: months.
const longestWait = 12

// LatestWait is the last day until which a task can be postponed on a day.
func LatestWait(from interval.Date, every interval.Limits) interval.Date {
	if every.Months+every.Days == 0 {
		return from.AddMonths(longestWait)
	}
	return from.AddMonths(every.Months).AddDays(every.Days)
}

// applyPostponement moves the due point as a person said after the work that it
// counts from.
func (v *View) applyPostponement(d *Due) {
	for i := len(v.Rec.Postponed) - 1; i >= 0; i-- {
		p := &v.Rec.Postponed[i]
		on := p.Component == "" || p.Component == v.ComponentName(d.Comp)
		if p.Void || !d.Task.IsCalled(p.Task) || !on {
			continue
		}
		date := interval.DateOf(time.Unix(0, p.At), v.Applied().Zone)
		if d.Last != nil && (date < d.Last.Date || date == d.Last.Date && p.To == 0) {
			return // it was done since, or on the day of the answer
		}
		if p.To > 0 {
			if !d.NoHistory {
				d.Postponed = p
				d.accepted(p)
			}
			return
		}
		if point, ok := v.postponedPoint(d, p, date); ok {
			d.Postponed, d.Point, d.NoHistory = p, point, false
		}
		return
	}
}

// postponedPoint is where the answer of that date puts the task; false where it moves
// nothing, since it speaks of a distance that the task does not go by.
func (v *View) postponedPoint(d *Due, p *record.Postponed, date interval.Date) (interval.Point, bool) {
	every := d.Plan.Interval()
	at := v.work().MetersAt(d.Task, d.Comp, p.At)
	point := interval.Point{
		Distance: later(d.Point.Distance, at.Distance, every.Distance),
		Hours:    later(d.Point.Hours, at.Hours, every.Hours),
	}
	if every.Months+every.Days > 0 {
		point.Date, point.HasDate = max(d.Point.Date, LatestWait(date, every)), true
	}
	if until, err := interval.ParseDate(p.Until); err == nil {
		point.Date, point.HasDate = until, true
		return point, true
	}
	by, err := p.ByDistance.As(unit.Distance)
	from := d.Point.Distance
	if math.IsNaN(from) || from < at.Distance {
		from = at.Distance
	}
	point.Distance = from + by
	return point, err == nil && !math.IsNaN(point.Distance)
}

// later is one interval from where a meter stood, or the task's own point if that
// lies beyond it; NaN where the task does not go by the meter.
func later(point, at, every float64) float64 {
	switch {
	case every == 0:
		return math.NaN()
	case math.IsNaN(at) || point > at+every:
		return point
	}
	return at + every
}

// accepted puts the point where a person accepted it. The other limits stay.
func (d *Due) accepted(p *record.Postponed) {
	if p.ByHours {
		d.Point.Hours = p.To
	} else {
		d.Point.Distance = p.To
	}
}
