package judge

import (
	"math"
	"time"

	"telltale/engine/interval"
	"telltale/engine/meter"
	"telltale/engine/record"
)

// A forecast wavers as readings come. What it made soon stays so until a reading
// moves it clear by as much again as the early limits are, or the work is done;
// otherwise a vehicle near the line would be told of and taken back at each
// reading. All of it is decided from the readings, not from what was said.

// heldSteps is how many readings back are looked at.
const heldSteps = 12

// hold makes a task soon that was soon by a forecast and has not moved clear.
func (v *View) hold(d *Due) {
	if d.Stage != interval.Normal {
		return
	}
	for _, hours := range [...]bool{false, true} {
		m := v.forecastMeter(d, hours)
		if m.c == nil || !m.held() {
			continue
		}
		d.Stage, d.Forecast = interval.Soon, true
		last, _ := m.c.Last(math.MaxInt64)
		d.Past, d.Limit = last.Life-m.point, interval.ByDistance
		if hours {
			d.Limit = interval.ByHours
		}
		return
	}
}

// forecastMeter is a task's limit by one meter with its early limits; c is nil
// where a forecast gives none.
type forecastMeter struct {
	c            *record.Chain
	zone         *time.Location
	point, early float64
	months, days int
}

func (v *View) forecastMeter(d *Due, hours bool) forecastMeter {
	e := d.Plan.Early
	m := forecastMeter{zone: v.Applied().Zone, point: d.Point.Distance, early: e.Distance, months: e.Months, days: e.Days}
	if hours {
		m.point, m.early = d.Point.Hours, e.Hours
	}
	if !math.IsNaN(m.point) && (m.early > 0 || m.months+m.days > 0) {
		m.c = v.Chain(d.Comp, hours)
	}
	return m
}

func (m *forecastMeter) held() bool {
	points := m.c.Kept()
	for i, n := len(points)-1, 0; i >= 0 && n < heldSteps; i, n = i-1, n+1 {
		p := &points[i]
		u := m.c.ReckonUsage(p.At)
		if i+1 < len(points) && m.near(u, p, points[i+1].At, 1) {
			return true // before the next reading came
		}
		if !m.near(u, p, p.At, 2) {
			return false
		}
	}
	return false
}

// near reports whether at a moment after the reading p the point was within so
// many times the early limits, by the usage known at p.
func (m *forecastMeter) near(u *meter.Usage, p *record.Point, at int64, times int) bool {
	est := p.Life
	if u.OK {
		est, _, _ = u.Now(record.Seconds(p.At), p.Life, record.Seconds(at))
	}
	if m.early > 0 && est >= m.point-float64(float64(times)*m.early) {
		return true
	}
	if m.months+m.days == 0 {
		return false
	}
	likely, ok := u.Likely(record.Seconds(p.At), p.Life, m.point)
	if !ok {
		return false
	}
	line := interval.DateOf(time.Unix(0, at), m.zone).AddMonths(times * m.months).AddDays(times * m.days)
	return interval.DateOf(time.Unix(likely, 0), m.zone).Compare(line) <= 0
}
