package judge

import (
	"math"
	"time"

	"telltale/engine/interval"
	"telltale/engine/record"
)

// UntoldText says since when nobody can tell how far the meter has run.
func (v *View) UntoldText(c *record.Chain, since int64) string {
	what := "distance"
	if c.Hours {
		what = "running time"
	}
	return "the " + what + " since the work cannot be told since " + v.DayOf(since)
}

// untold is the limit of a task by a meter that went back, and since when its distance or
// running time cannot be told; "" where it can.
func (v *View) untold(d *Due) (interval.Limit, string) {
	for _, l := range [...]interval.Limit{interval.ByDistance, interval.ByHours} {
		every, point := d.Plan.Every.Distance, d.Point.Distance
		if l == interval.ByHours {
			every, point = d.Plan.Every.Hours, d.Point.Hours
		}
		if every == 0 && math.IsNaN(point) {
			continue
		}
		if c := v.DueChain(d, l == interval.ByHours); c != nil {
			if since, ok := c.UntoldSince(); ok {
				return l, v.UntoldText(c, since)
			}
		}
	}
	return interval.ByNone, ""
}

// judgeUntold sees that a task whose distance cannot be told is not called normal for it.
// What was read before the meter went back may make it due, as at least so far was run;
// its date may, too.
func (v *View) judgeUntold(d *Due) {
	limit, text := v.untold(d)
	d.Untold = text
	if text == "" || d.Stage > interval.Soon || d.Stage == interval.Soon && d.Limit == interval.ByTime {
		return
	}
	d.Stage, d.Limit = interval.Soon, limit
}

// DayOf is the vehicle's local date at a moment, Unix nanoseconds.
func (v *View) DayOf(at int64) string {
	return interval.DateOf(time.Unix(0, at), v.Rec.Registered().Location()).String()
}
