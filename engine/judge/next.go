package judge

import (
	"math"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/rules/expression"
)

// never is a next change that no tick reaches.
const never = math.MaxInt64

// NextByCalendar is when dates alone can change the task's stage.
func (v *View) NextByCalendar(d *Due) int64 {
	switch {
	case d.Waiting || d.NoHistory:
		return never
	case d.AsksFacts():
		return v.nextMidnight() // the factor may go by the day
	}
	s := d.State
	s.HasLikelyDistance, s.HasLikelyHours = false, false
	return v.startOf(d.Plan.NextChange(d.Point, s))
}

// NextByUsage is when a forecast or an estimate can make the task soon, if it is
// at no stage yet.
func (v *View) NextByUsage(d *Due) int64 {
	if d.Waiting || d.NoHistory || d.Stage != interval.Normal {
		return never
	}
	s, early := d.State, d.Plan.Early
	next := v.startOf(d.Plan.NextChange(interval.Point{}, s))
	if early.Distance > 0 {
		next = min(next, v.nextEstimated(d, false, d.Point.Distance-early.Distance))
	}
	if early.Hours > 0 {
		next = min(next, v.nextEstimated(d, true, d.Point.Hours-early.Hours))
	}
	return next
}

// nextEstimated is when the estimated meter reaches a life value.
func (v *View) nextEstimated(d *Due, hours bool, life float64) int64 {
	c := v.Chain(d.Comp, hours)
	if c == nil || math.IsNaN(life) {
		return never
	}
	last, ok := c.Last(math.MaxInt64)
	u := c.ReckonUsage(math.MaxInt64)
	t := (life - float64(expression.Slack*math.Abs(life)) - last.Life) / u.PerSecond
	if !ok || !u.OK || !(u.PerSecond > 0) || t > math.MaxInt32 {
		return never
	}
	return max(v.Now.Unix()+1, record.Seconds(last.At)+int64(t))
}

// Patience is how long the book lets a meter go unread.
func (l *Law) Patience() meter.Patience {
	return meter.Patience{Least: l.Book.Data.Silent.Least, Times: l.Book.Data.Silent.Times}
}

// DataSilent is the data alarm of a meter that was not read for too long.
const DataSilent = "data: silent"

// Wait is from when the vehicle's meters are waited for. One that was silent before a
// backlog stays so until it is read.
func (v *View) Wait() meter.Wait {
	w := meter.Wait{Since: v.Rec.WaitedFrom()}
	if a := v.Rec.Alarm(alarm.Key{Rule: DataSilent}); a == nil || a.Stage == 0 {
		w.Backlog = max(v.Rec.Backlog, v.Resumed)
	}
	return w
}

// NextOfMeter is when the meter will have been silent for too long.
func (v *View) NextOfMeter(c *record.Chain) int64 {
	at, ok := v.Patience().SilentFrom(c.Moments(), v.Wait())
	if !ok || at <= v.Now.Unix() {
		return never
	}
	return at
}

func (v *View) startOf(d interval.Date) int64 {
	if d.IsZero() {
		return never
	}
	return d.Start(v.Applied().Zone).Unix()
}

// nextMidnight is the start of the next local day.
func (v *View) nextMidnight() int64 {
	zone := v.Applied().Zone
	return interval.DateOf(v.Now, zone).AddDays(1).Start(zone).Unix()
}
