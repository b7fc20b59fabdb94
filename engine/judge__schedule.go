package engine

import (
	"cmp"
	"math"
	"strconv"
	"telltale/engine/interval"
	"time"
)

const noMeter = "a reading of the odometer"

// reckoned is the task's due point and today's date.
func (x *facts) reckoned(task string) (d due, missing string, ok bool) {
	if d, ok = x.f.reckonNamed(task, x.def, x.before, x.at); !ok {
		missing = "the task " + strconv.Quote(task) + " on this vehicle"
	}
	return d, missing, ok
}

// today is the date of the judgement.
func (x *facts) today() interval.Date {
	return interval.DateOf(time.Unix(0, min(x.at, x.f.when.UnixNano())), x.f.applied().zone)
}

func lastDoneMissing(task string) string { return "when " + task + " was last done" }

// run is a distance or time from a task's work or to its due point, where both are known.
func run(v float64, task string) (float64, string, bool) {
	if math.IsNaN(v) {
		return 0, lastDoneMissing(task), false
	}
	return v, "", true
}

func (x *facts) daysSince(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || d.last == nil || d.last.Date.IsZero() {
		return 0, cmp.Or(missing, lastDoneMissing(task)), false
	}
	return float64(x.today().Sub(d.last.Date)), "", true
}

func (x *facts) daysToDue(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok || !d.point.HasDate {
		return 0, cmp.Or(missing, "a due date of "+task), false
	}
	return float64(d.point.Date.Sub(x.today())), "", true
}

func (x *facts) dueIn(task string) (float64, string, bool) {
	d, missing, ok := x.reckoned(task)
	if !ok {
		return 0, missing, false
	}
	now, missing, ok := x.life(false)
	if !ok {
		return 0, missing, false
	}
	return run(d.point.Distance-now, task)
}

func since(hours bool) func(*facts, string) (float64, string, bool) {
	return func(x *facts, task string) (float64, string, bool) {
		d, missing, ok := x.reckoned(task)
		if !ok {
			return 0, missing, false
		}
		now, missing, ok := x.life(hours)
		if !ok {
			return 0, missing, false
		}
		switch {
		case d.last == nil:
			return 0, lastDoneMissing(task), false
		case hours:
			return run(now-d.last.Hours, task)
		}
		return run(now-d.last.Distance, task)
	}
}
