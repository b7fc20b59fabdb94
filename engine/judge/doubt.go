package judge

import (
	"fmt"
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

// untoldWords say that the distance cannot be told, beside what is known of the task.
func (v *View) untoldWords(d *Due) []string {
	switch {
	case d.Stage > interval.Soon || d.Limit == interval.ByTime:
		return []string{v.limitWords(d), d.Untold}
	case d.Point.HasDate:
		return []string{d.Untold, "by the calendar due on " + d.Point.Date.String()}
	}
	return []string{d.Untold}
}

// DayOf is the vehicle's local date at a moment, Unix nanoseconds.
func (v *View) DayOf(at int64) string {
	return interval.DateOf(time.Unix(0, at), v.Rec.Registered().Location()).String()
}

// Place writes a life value as people find it: on the face of the instrument in use and,
// where there was another before, in all.
func (v *View) Place(c *record.Chain, life float64) string {
	face, replaced := c.Face(life)
	in := v.Amount(life, c.Hours) + " in all"
	switch {
	case !replaced:
		return v.face(c, face)
	case face < 0:
		return in + ", which the " + c.Name + " before this one showed"
	}
	return fmt.Sprintf("%s on the new %s (%s)", v.face(c, face), c.Name, in)
}

// reads says what the meter was last read to show, beside a point that it is due at: in
// all, too, where no more than that is known of the point.
func (v *View) reads(c *record.Chain, p record.Point, at float64) string {
	text := fmt.Sprintf("the %s reads %s", c.Name, v.face(c, p.Face))
	if face, replaced := c.Face(at); replaced && face < 0 {
		text += " (" + v.Amount(p.Life, c.Hours) + " in all)"
	}
	return text
}
