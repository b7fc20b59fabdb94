package judge

import (
	"cmp"
	"math"
	"strconv"
	"time"

	"telltale/engine/interval"
)

const noMeter = "a reading of the odometer"

// reckoned is the task's due point and today's date.
func (x *Facts) reckoned(task string) (d Due, missing string, ok bool) {
	if d, ok = x.v.reckonNamed(task, x.Def, x.before, x.at); !ok {
		missing = "the task " + strconv.Quote(task) + " on this vehicle"
	}
	return d, missing, ok
}

// today is the date of the judgement.
func (x *Facts) today() interval.Date {
	return interval.DateOf(time.Unix(0, min(x.at, x.v.When.UnixNano())), x.v.Applied().Zone)
}

func lastDoneMissing(task string) string { return "when " + task + " was last done" }

// run is a distance or time from a task's work or to its due point, where both are known.
func run(v float64, task string) (float64, string, bool) {
	if math.IsNaN(v) {
		return 0, lastDoneMissing(task), false
	}
	return v, "", true
}

func (x *Facts) daysSince(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || d.Last == nil || d.Last.Date.IsZero() {
		return 0, cmp.Or(missing, lastDoneMissing(task)), false
	}
	return float64(x.today().Sub(d.Last.Date)), "", true
}

func (x *Facts) daysToDue(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || !d.Point.HasDate {
		return 0, cmp.Or(missing, "a due date of "+task), false
	}
	return float64(d.Point.Date.Sub(x.today())), "", true
}

func (x *Facts) dueIn(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok {
		return 0, missing, false
	}
	now, missing, ok := x.life(false)
	if !ok {
		return 0, missing, false
	}
	return run(d.Point.Distance-now, task)
}

func since(hours bool) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, task string) (float64, string, bool) {
		d, missing, ok := x.reckoned(task)
		if !ok {
			return 0, missing, false
		}
		now, missing, ok := x.life(hours)
		if !ok {
			return 0, missing, false
		}
		switch {
		case d.Last == nil:
			return 0, lastDoneMissing(task), false
		case hours:
			return run(now-d.Last.Hours, task)
		}
		return run(now-d.Last.Distance, task)
	}
}
