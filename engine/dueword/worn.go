package dueword

import (
	"fmt"
	"math"

	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/wear"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// wornMissing says what is missing for forecasts of the task's measures.
func wornMissing(d *judge.Due) string {
	var all []string
	for _, w := range d.Worn {
		if w.Missing != "" {
			all = append(all, w.Missing)
		}
	}
	return english.List("and", all)
}

// WornOf says where the measure stands by which the deciding limit is set or, of other
// limits, what is missing for a forecast; "" where nothing is to be said.
func WornOf(v *judge.View, d *judge.Due) string {
	if w := d.WornBy(d.Limit); w != nil && d.Postponed == nil {
		return Wear(v, w)
	}
	return wornMissing(d)
}

// wornFirst is the measure by which the limit is set that the forecast date is of; nil
// where that limit is no measure's, or was moved since.
func wornFirst(d *judge.Due) *wear.Worn {
	limit := interval.ByDistance
	if d.First.Hours {
		limit = interval.ByHours
	}
	w := d.WornBy(limit)
	if w == nil || w.At != d.FirstAt {
		return nil
	}
	return w
}

// between is the range of a forecast; one that nobody knows an end of has only its
// beginning.
func between(reach [3]interval.Date) string {
	if reach[2].IsZero() {
		return "not before " + reach[0].String()
	}
	return fmt.Sprintf("between %s and %s", reach[0], reach[2])
}

// Wear says where a measure reaches its limit, or that it has, or what is missing; in
// hundreds of what the odometer shows, tens of hours, since no forecast is nearer.
func Wear(v *judge.View, w *wear.Worn) string {
	return w.Words(v.Applied().Zone, func(life float64, hours bool) string {
		round, _, _ := unit.Base(100, v.Units().Distance)
		if hours {
			round = 10 * 3600
		}
		c := v.Chain(-1, hours)
		if c == nil {
			return v.Amount(math.Round(life/round)*round, hours)
		}
		shift := 0.0
		if p, ok := c.LastRead(math.MaxInt64); ok {
			shift = p.Life - p.Face
		}
		return place(v, c, float64(math.Round((life-shift)/round)*round)+shift)
	})
}
