package interval

import "math"

// PullIn moves the point nearer, to where the work is asked for within some limits
// of a moment, limit by limit, and never further away. The plan notes by which
// limits it was moved; ok is false where by none.
func (p *Plan) PullIn(due Point, from Done, within Limits) (_ Point, ok bool) {
	if at := from.Distance + within.Distance; within.Distance > 0 && earlier(at, due.Distance) {
		due.Distance, p.Pulled.Distance, ok = at, within.Distance, true
	}
	if at := from.Hours + within.Hours; within.Hours > 0 && earlier(at, due.Hours) {
		due.Hours, p.Pulled.Hours, ok = at, within.Hours, true
	}
	if within.hasTime() && !from.Date.IsZero() {
		if d := from.Date.add(within, 1); !due.HasDate || d < due.Date {
			due.Date, due.HasDate, ok = d, true, true
			p.Pulled.Months, p.Pulled.Days = within.Months, within.Days
		}
	}
	return due, ok
}

// earlier reports whether a known value lies before one that may be unknown.
func earlier(a, b float64) bool { return a < b || math.IsNaN(b) && !math.IsNaN(a) }
