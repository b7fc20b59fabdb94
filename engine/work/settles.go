package work

import (
	"cmp"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
)

// Settles reports whether the service did the task, one that contains it, or its twin.
func (h History) Settles(s *record.Service, t *rules.Task, comp int) bool {
	did := func(t *rules.Task) bool { return h.settlesAlone(s, t, comp) }
	return did(t) || slices.ContainsFunc(h.Twins[applies.Task{Task: t, Component: comp}], did)
}

func (h History) settlesAlone(s *record.Service, t *rules.Task, comp int) bool {
	called := func(name string) bool { return h.Lists(s, name, comp) }
	return called(t.Name) || slices.ContainsFunc(t.Was, called) || slices.ContainsFunc(t.In, called)
}

// Lists reports whether the service did the task on that component (-1: on the vehicle).
func (h History) Lists(s *record.Service, name string, comp int) bool {
	if s.Void || !slices.Contains(s.Tasks, name) {
		return false
	}
	return comp < 0 || (s.Component == "" || s.Component == h.name(comp)) && !h.beforeFitted(comp, s.At)
}

// beforeFitted reports whether a moment is before the day on which the component was
// fitted: what was done then was done to the one before it.
func (h History) beforeFitted(comp int, at int64) bool {
	return h.Fitted[comp] > 0 && interval.DateOf(time.Unix(0, at), h.Zone) < h.Fitted[comp]
}

// drawn gives the samples that settle a task of a component, or of the vehicle (-1), each
// with its place.
func (h History) drawn(t *rules.Task, comp int, each func(*record.Sample, record.Place)) {
	if !t.BySample {
		return
	}
	name, zone := h.name(comp), h.Zone
	for i := range h.Rec.Samples {
		if s := &h.Rec.Samples[i]; !s.Void && (comp < 0 || s.Component == name) {
			each(s, s.Place(zone))
		}
	}
}

// DrawnSince reports whether a sample that settles the task, other than the one that asks
// for it, was drawn after a moment.
func (h History) DrawnSince(t *rules.Task, comp int, at int64, but event.ID) (found bool) {
	h.drawn(t, comp, func(s *record.Sample, p record.Place) { found = found || s.ID != but && p.At > at })
	return found
}

// DrawnBy reports whether a sample that settles the task was drawn up to a place.
func (h History) DrawnBy(t *rules.Task, comp int, before record.Place) (found bool) {
	h.drawn(t, comp, func(_ *record.Sample, p record.Place) { found = found || p.Compare(before) <= 0 })
	return found
}

// doneFor is where work stood that settles the task. Where it lists the task itself, and
// not a larger one, the date on its paper counts for it.
func (h History) doneFor(s *record.Service, t *rules.Task, comp int) interval.Done {
	d := h.stoodBy(&s.Stamp, s.Meters, t, comp)
	if s.ValidUntil != "" && slices.ContainsFunc(s.Tasks, t.IsCalled) {
		d.Until, _ = interval.ParseDate(s.ValidUntil)
	}
	return d
}

// Done adds to a list where the work up to a place stood that settles the task, in order of
// date, and says by which event it was done last.
func (h History) Done(list []interval.Done, t *rules.Task, comp int, before record.Place) (all []interval.Done, by event.ID) {
	begin := len(list)
	for i := range h.Rec.Services {
		if s := &h.Rec.Services[i]; s.Stamp.Place(event.ServiceEvent).Compare(before) <= 0 && h.Settles(s, t, comp) {
			list, by = append(list, h.doneFor(s, t, comp)), s.ID
		}
	}
	if t.BySample {
		return h.sampled(list, begin, by, t, comp, before)
	}
	return list, by
}

// sampled adds the samples that settle the task to what was done since begin, in order of
// date. A sample counts where it was drawn.
func (h History) sampled(list []interval.Done, begin int, by event.ID, t *rules.Task, comp int, before record.Place) ([]interval.Done, event.ID) {
	latest := interval.Date(0)
	if n := len(list); n > begin {
		latest = list[n-1].Date
	}
	h.drawn(t, comp, func(s *record.Sample, at record.Place) {
		if at.Compare(before) > 0 {
			return
		}
		done := h.stoodBy(&s.Stamp, s.Meters, t, comp)
		done.Date = interval.DateOf(time.Unix(0, at.At), h.Zone)
		list = append(list, done)
		if done.Date >= latest {
			latest, by = done.Date, s.ID
		}
	})
	slices.SortStableFunc(list[begin:], func(a, b interval.Done) int { return cmp.Compare(a.Date, b.Date) })
	return list, by
}
