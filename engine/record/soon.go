package record

import (
	"math"
	"time"

	"telltale/engine/interval"
	"telltale/engine/meter"
)

// A forecast wavers as readings come. What it made soon stays so until a reading
// moves it clear by as much again as the early limits are, or the work is done;
// otherwise a vehicle near the line would be told of and taken back at each
// reading. All of it is decided from the readings, not from what was said.

// heldSteps is how many readings back are looked at.
const heldSteps = 12

// EarlyLimit is a point at which work is due by a meter, metres or seconds of running, and
// how much earlier it is soon: by the meter, or by the calendar of a zone.
type EarlyLimit struct {
	Point, Early float64
	Months, Days int
	Zone         *time.Location
}

// Foretold reports whether a forecast can make the work soon.
func (a *EarlyLimit) Foretold() bool {
	return !math.IsNaN(a.Point) && (a.Early > 0 || a.Months+a.Days > 0)
}

// StaysSoon reports whether the work was soon by a forecast and no reading has moved it
// clear since.
func (c *Chain) StaysSoon(a *EarlyLimit) bool {
	points := c.Kept()
	for i, n := len(points)-1, 0; i >= 0 && n < heldSteps; i, n = i-1, n+1 {
		p := &points[i]
		u := c.ReckonUsage(p.At)
		// Soon by the forecast that held just before the next reading came, or clear of it by
		// twice the early limits: whichever is met first, going back, decides.
		if i+1 < len(points) && a.near(u, p, points[i+1].At, 1) {
			return true
		}
		if !a.near(u, p, p.At, 2) {
			return false
		}
	}
	return false
}

// near reports whether at a moment after the reading p the point was within so
// many times the early limits, by the usage known at p.
func (a *EarlyLimit) near(u *meter.Usage, p *Point, at int64, times int) bool {
	est := p.Life
	if u.OK {
		est, _, _ = u.Now(Seconds(p.At), p.Life, Seconds(at))
	}
	if a.Early > 0 && est >= a.Point-float64(float64(times)*a.Early) {
		return true
	}
	if a.Months+a.Days == 0 {
		return false
	}
	likely, ok := u.Likely(Seconds(p.At), p.Life, a.Point)
	if !ok {
		return false
	}
	line := interval.DateOf(time.Unix(0, at), a.Zone).AddMonths(times * a.Months).AddDays(times * a.Days)
	return interval.DateOf(time.Unix(likely, 0), a.Zone).Compare(line) <= 0
}
