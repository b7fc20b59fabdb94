package engine

import (
	"math"
	"telltale/engine/interval"
	"telltale/engine/meter"
	"telltale/rules"
)

// never is a next change that no tick reaches.
const never = math.MaxInt64

// nextByCalendar is when dates alone can change the task's stage.
func (f *view) nextByCalendar(d *due) int64 {
	switch {
	case d.waiting || d.noHistory:
		return never
	case d.asksFacts():
		return f.nextMidnight() // the factor may go by the day
	}
	s := d.state
	s.HasLikelyDistance, s.HasLikelyHours = false, false
	return f.startOf(d.plan.NextChange(d.point, s))
}

// nextByUsage is when a forecast or an estimate can make the task soon, if it is
// at no stage yet.
func (f *view) nextByUsage(d *due) int64 {
	if d.waiting || d.noHistory || d.Stage != interval.Normal {
		return never
	}
	s, early := d.state, d.plan.Early
	next := f.startOf(d.plan.NextChange(interval.Point{}, s))
	if early.Distance > 0 {
		next = min(next, f.nextEstimated(d, false, d.point.Distance-early.Distance))
	}
	if early.Hours > 0 {
		next = min(next, f.nextEstimated(d, true, d.point.Hours-early.Hours))
	}
	return next
}

// nextEstimated is when the estimated meter reaches a life value.
func (f *view) nextEstimated(d *due, hours bool, life float64) int64 {
	c := f.chain(d.comp, hours)
	if c == nil || math.IsNaN(life) {
		return never
	}
	last, ok := c.last(math.MaxInt64)
	u := c.reckonUsage(math.MaxInt64)
	t := (life - float64(rules.Slack*math.Abs(life)) - last.life) / u.PerSecond
	if !ok || !u.OK || !(u.PerSecond > 0) || t > math.MaxInt32 {
		return never
	}
	return max(f.Now.Unix()+1, seconds(last.at)+int64(t))
}

// nextOfMeter is when the meter will have been silent for too long.
func (f *view) nextOfMeter(c *chain) int64 {
	at, ok := meter.SilentFrom(c.moments(), f.rec.inSince())
	if !ok || at <= f.Now.Unix() {
		return never
	}
	return at
}

func (f *view) startOf(d interval.Date) int64 {
	if d.IsZero() {
		return never
	}
	return d.Start(f.applied().zone).Unix()
}

// nextMidnight is the start of the next local day.
func (f *view) nextMidnight() int64 {
	zone := f.applied().zone
	return interval.DateOf(f.Now, zone).AddDays(1).Start(zone).Unix()
}
