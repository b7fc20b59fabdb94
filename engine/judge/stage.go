package judge

import (
	"math"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/engine/record"
)

// JudgeDue judges a due point by what was read, by usage and by the calendar.
func (v *View) JudgeDue(d *Due) {
	switch {
	case d.Waiting:
		return
	case d.NoHistory:
		d.Stage = interval.Due
		return
	}
	d.State = v.state(d)
	d.Verdict = d.Plan.Judge(d.Point, d.State)
	if (d.Fu != nil && d.Fu.Within || len(d.pulls) > 0) && d.Stage == interval.Normal {
		d.Stage = interval.Soon
	}
	v.hold(d)
	switch d.Limit {
	case interval.ByDistance:
		d.meter = v.Chain(d.Comp, false)
	case interval.ByHours:
		d.meter = v.Chain(d.Comp, true)
	}
	if d.meter != nil {
		d.read, _ = d.meter.Last(math.MaxInt64)
	}
}

// state is where the vehicle is now: as read, as estimated from its usage, and
// when it is likely to reach the meter limits.
func (v *View) state(d *Due) interval.State {
	a := v.Applied()
	nan := math.NaN()
	s := interval.State{Distance: nan, Hours: nan, EstDistance: nan, EstHours: nan}
	if v.Now.IsZero() {
		return v.readOnly(d, s)
	}
	s.Today = interval.DateOf(v.Now, a.Zone)
	s.HasToday = true
	s.Distance, s.EstDistance, s.LikelyDistance, s.HasLikelyDistance = v.meterState(d, false, d.Point.Distance)
	s.Hours, s.EstHours, s.LikelyHours, s.HasLikelyHours = v.meterState(d, true, d.Point.Hours)
	return s
}

func (v *View) readOnly(d *Due, s interval.State) interval.State {
	for _, hours := range []bool{false, true} {
		c := v.Chain(d.Comp, hours)
		if c == nil {
			continue
		}
		if p, ok := c.Last(math.MaxInt64); ok && hours {
			s.Hours = p.Life
		} else if ok {
			s.Distance = p.Life
		}
	}
	return s
}

// meterState is one meter's part of the state; the forecast is asked for only
// where the due point has a limit by that meter.
func (v *View) meterState(d *Due, hours bool, point float64) (read, est float64, likely interval.Date, has bool) {
	nan := math.NaN()
	a := v.Applied()
	c := v.Chain(d.Comp, hours)
	if c == nil || math.IsNaN(point) {
		return nan, nan, likely, false
	}
	last, ok := c.Last(math.MaxInt64)
	if !ok {
		return nan, nan, likely, false
	}
	u := c.ReckonUsage(math.MaxInt64)
	if !u.OK {
		return last.Life, nan, likely, false
	}
	est, _, _ = u.Now(record.Seconds(last.At), last.Life, v.Now.Unix())
	mid, ok := u.Likely(record.Seconds(last.At), last.Life, point)
	if !ok {
		return last.Life, est, likely, false
	}
	likely = interval.DateOf(time.Unix(mid, 0), a.Zone)
	if !d.Sure || likely.Compare(d.Likely) < 0 {
		d.Sure, d.Likely, d.first, d.at = true, likely, c, point
	}
	return last.Life, est, likely, true
}

// NoHistory stands for the limit of a task that nobody knows when it was last done.
const NoHistory = "no history"

// duePoint is where a task stands, in the book's units.
func (v *View) duePoint(d *Due) *alarm.DuePoint {
	if d.NoHistory {
		return &alarm.DuePoint{Limit: NoHistory}
	}
	p := &alarm.DuePoint{Limit: d.Limit.String(), PulledIn: v.PulledIn(d)}
	if d.Point.HasDate {
		p.Date = d.Point.Date.String()
	}
	p.Early, p.Likely, p.Late = v.ForecastDates(d)
	if d.State.HasToday {
		p.On = d.State.Today.String()
	}
	if at, past, hours, ok := v.DuePlace(d); ok {
		p.At, p.Past = v.Quantity(at, hours), v.Quantity(past, hours)
	}
	return p
}

// ForecastDates are those between which the first limit is reached, of a task that is
// not due yet; "" where they are not known.
func (v *View) ForecastDates(d *Due) (early, likely, late string) {
	if !d.Sure || d.Stage >= interval.Due {
		return "", "", ""
	}
	reach := d.Reach(v.Applied().Zone)
	return reach[0].String(), reach[1].String(), reach[2].String()
}

// DuePlace is the meter limit that decides, else the first there is: the face value at
// which the task is due, and how far past it the meter is, in metres or seconds.
func (v *View) DuePlace(d *Due) (at, past float64, hours, ok bool) {
	c, point := d.meter, d.Point.Distance
	if c == nil {
		c = v.Chain(d.Comp, math.IsNaN(point))
	}
	if c == nil || d.NoHistory || d.Waiting {
		return 0, 0, false, false
	}
	if c.Hours {
		point = d.Point.Hours
	}
	last, ok := c.Last(math.MaxInt64)
	return point - (last.Life - last.Face), last.Life - point, c.Hours, ok && !math.IsNaN(point)
}

// LastDone is the date of the last time, or the policy that stands for it.
func LastDone(d *Due) string {
	switch {
	case d.Last != nil:
		return d.Last.Date.String()
	case d.NoHistory || d.From.Date.IsZero() && !d.Waiting:
		return NoHistory
	case d.Waiting:
		return "counted from the first reading"
	}
	return "counted from " + d.From.Date.String()
}
