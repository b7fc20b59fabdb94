package due

import (
	"cmp"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/judge"
)

// All are the lines of all the work that is kept for a vehicle, whatever its stage: what is
// late, due and soon first, then the rest; each by date. Of the rest, what nobody knows a
// date of comes last. Out of service the vehicle has its lines too.
func All(v *judge.View) []Item {
	if reg := v.Rec.Registered(); v.Book == nil || reg == nil || reg.Retired {
		return nil
	}
	var out []Item
	v.EachTask(func(d *judge.Due, k alarm.Key) {
		v.JudgeDue(d)
		out = append(out, dueItem(v, d, k))
	})
	slices.SortStableFunc(out, func(a, b Item) int {
		return cmp.Or(cmp.Compare(slices.Index(worstFirst, a.Stage), slices.Index(worstFirst, b.Stage)), strings.Compare(a.orderedBy(), b.orderedBy()),
			strings.Compare(a.Task, b.Task), strings.Compare(a.Component, b.Component))
	})
	return out
}

// orderedBy is its first date; one after all others where work that is not due has none.
func (d *Item) orderedBy() string {
	if first := d.first(); first != "" || d.Stage != alarm.Normal {
		return first
	}
	return "~"
}
