package engine

import (
	"math"
	"telltale/engine/interval"
)

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
