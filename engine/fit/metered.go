package fit

import (
	"fmt"
	"slices"

	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
	"telltale/rules/source"
)

// unmetered asks about tasks that go by a meter alone, of which some of the vehicles to
// which they apply have none: there the task is never due, and nobody is told.
func (r *reader) unmetered() {
	lacking := map[*rules.Task][]string{}
	having := map[*rules.Task]bool{}
	for i := range r.vehicles {
		v := &r.vehicles[i]
		for _, t := range r.finder.To(&v.of, v.comps).Tasks {
			switch list := lacking[t.Task]; {
			case !byMeterAlone(t.Task):
			case v.counts(t):
				having[t.Task] = true
			case !slices.Contains(list, v.key):
				lacking[t.Task] = append(list, v.key)
			}
		}
	}
	for _, t := range r.book.Tasks {
		names := lacking[t]
		if len(names) == 0 || t.Meter != "" && !having[t] {
			continue // of a meter that no vehicle has, named asks
		}
		where := english.List("and", firstOf(names))
		text := fmt.Sprintf("task %q goes by %s alone, which %s %s: it is never due there", t.Name, meterOf(t), where, lacks(names))
		hint := "give the task a `time` as well, or a `where` that leaves such vehicles out, or register the meter"
		r.found = append(r.found, source.Fault{Place: t.At, Text: text, Hint: hint, Width: 1})
	}
}

// byMeterAlone reports whether only a meter can make the task due.
func byMeterAlone(t *rules.Task) bool {
	e := t.Every
	return e.Months == 0 && e.Days == 0 && len(t.Until) == 0 && (e.Distance > 0 || e.Hours > 0)
}

// counts reports whether the vehicle has a meter by which the task is due.
func (v *vehicle) counts(t applies.Task) bool {
	if t.Task.Meter != "" {
		return slices.Contains(meters(v), t.Task.Meter)
	}
	e := t.Task.Every
	return e.Distance > 0 && len(v.metersFor(t.Component, "distance")) > 0 || e.Hours > 0 && len(v.metersFor(t.Component, "hours")) > 0
}

func meterOf(t *rules.Task) string {
	switch {
	case t.Meter != "":
		return fmt.Sprintf("the meter %q", t.Meter)
	case t.Every.Hours == 0:
		return "an odometer"
	case t.Every.Distance == 0:
		return "an hour meter"
	}
	return "an odometer or an hour meter"
}

func lacks(names []string) string {
	if len(names) == 1 {
		return "lacks"
	}
	return "lack"
}
