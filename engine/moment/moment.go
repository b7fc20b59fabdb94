// Package moment says when next a tick of the clock can change something on a vehicle, in
// Unix seconds, so that the clock costs in proportion to what changes: by the dates of a
// task, by the usage of a meter, and by a meter that nobody reads. It asks a
// [judge.View] and changes nothing.
package moment

import (
	"math"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/expression"
)

// never is a next change that no tick reaches.
const never = math.MaxInt64

// ByCalendar is when dates alone can change the task's stage.
func ByCalendar(v *judge.View, d *judge.Due) int64 {
	switch {
	case d.Waiting || d.NoHistory:
		return never
	case d.AsksFacts():
		return nextMidnight(v) // the factor may go by the day
	}
	s := d.State
	s.HasLikelyDistance, s.HasLikelyHours = false, false
	return startOf(v, d.Plan.NextChange(d.Point, s))
}

// ByUsage is when a forecast or an estimate can make the task soon, if it is
// at no stage yet.
func ByUsage(v *judge.View, d *judge.Due) int64 {
	if d.Waiting || d.NoHistory || d.Stage != interval.Normal {
		return never
	}
	s, early := d.State, d.Plan.Early
	next := startOf(v, d.Plan.NextChange(interval.Point{}, s))
	if early.Distance > 0 {
		next = min(next, estimated(v, d, false, d.Point.Distance-early.Distance))
	}
	if early.Hours > 0 {
		next = min(next, estimated(v, d, true, d.Point.Hours-early.Hours))
	}
	return next
}

// estimated is when the estimated meter reaches a life value.
func estimated(v *judge.View, d *judge.Due, hours bool, life float64) int64 {
	c := v.DueChain(d, hours)
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
func Patience(b *rules.Book) meter.Patience {
	return meter.Patience{Least: b.Data.Silent.Least, Times: b.Data.Silent.Times}
}

// DataSilent is the data alarm of a meter that was not read for too long.
const DataSilent = "data: silent"

// Wait is from when the vehicle's meters are waited for. One that was silent before a
// backlog stays so until it is read.
func Wait(v *judge.View) meter.Wait {
	w := meter.Wait{Since: v.Rec.WaitedFrom()}
	if a := v.Rec.Alarm(alarm.Key{Rule: DataSilent}); a == nil || a.Stage == 0 {
		w.Backlog = max(v.Rec.Backlog, v.Resumed)
	}
	return w
}

// OfMeter is when the meter will have been silent for too long.
func OfMeter(v *judge.View, c *record.Chain) int64 {
	at, ok := Patience(v.Book).SilentFrom(c.Moments(), Wait(v))
	if !ok || at <= v.Now.Unix() {
		return never
	}
	return at
}

func startOf(v *judge.View, d interval.Date) int64 {
	if d.IsZero() {
		return never
	}
	return d.Start(v.Applied().Zone).Unix()
}

// nextMidnight is the start of the next local day.
func nextMidnight(v *judge.View) int64 {
	zone := v.Applied().Zone
	return interval.DateOf(v.Now, zone).AddDays(1).Start(zone).Unix()
}
