package engine

import (
	"math"
	"telltale/engine/interval"
	"time"
)

// judgeDue judges a due point by what was read, by usage and by the calendar.
func (f *view) judgeDue(d *due) {
	switch {
	case d.waiting:
		return
	case d.noHistory:
		d.Stage = interval.Due
		return
	}
	d.state = f.state(d)
	d.Verdict = d.plan.Judge(d.point, d.state)
	if (d.fu != nil && d.fu.Within || len(d.pulls) > 0) && d.Stage == interval.Normal {
		d.Stage = interval.Soon
	}
	f.hold(d)
	switch d.Limit {
	case interval.ByDistance:
		d.meter = f.chain(d.comp, false)
	case interval.ByHours:
		d.meter = f.chain(d.comp, true)
	}
	if d.meter != nil {
		d.read, _ = d.meter.last(math.MaxInt64)
	}
}

// state is where the vehicle is now: as read, as estimated from its usage, and
// when it is likely to reach the meter limits.
func (f *view) state(d *due) interval.State {
	a := f.applied()
	nan := math.NaN()
	s := interval.State{Distance: nan, Hours: nan, EstDistance: nan, EstHours: nan}
	if f.Now.IsZero() {
		return f.readOnly(d, s)
	}
	s.Today = interval.DateOf(f.Now, a.zone)
	s.HasToday = true
	s.Distance, s.EstDistance, s.LikelyDistance, s.HasLikelyDistance = f.meterState(d, false, d.point.Distance)
	s.Hours, s.EstHours, s.LikelyHours, s.HasLikelyHours = f.meterState(d, true, d.point.Hours)
	return s
}

func (f *view) readOnly(d *due, s interval.State) interval.State {
	for _, hours := range []bool{false, true} {
		c := f.chain(d.comp, hours)
		if c == nil {
			continue
		}
		if p, ok := c.last(math.MaxInt64); ok && hours {
			s.Hours = p.life
		} else if ok {
			s.Distance = p.life
		}
	}
	return s
}

// meterState is one meter's part of the state; the forecast is asked for only
// where the due point has a limit by that meter.
func (f *view) meterState(d *due, hours bool, point float64) (read, est float64, likely interval.Date, has bool) {
	nan := math.NaN()
	a := f.applied()
	c := f.chain(d.comp, hours)
	if c == nil || math.IsNaN(point) {
		return nan, nan, likely, false
	}
	last, ok := c.last(math.MaxInt64)
	if !ok {
		return nan, nan, likely, false
	}
	u := c.reckonUsage(math.MaxInt64)
	if !u.OK {
		return last.life, nan, likely, false
	}
	est, _, _ = u.Now(seconds(last.at), last.life, f.Now.Unix())
	mid, ok := u.Likely(seconds(last.at), last.life, point)
	if !ok {
		return last.life, est, likely, false
	}
	likely = interval.DateOf(time.Unix(mid, 0), a.zone)
	if !d.sure || likely.Compare(d.likely) < 0 {
		d.sure, d.likely, d.first, d.at = true, likely, c, point
	}
	return last.life, est, likely, true
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
