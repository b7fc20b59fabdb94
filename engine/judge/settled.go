package judge

import (
	"cmp"
	"math"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/unit"
)

// doneFor is where work stood that settles the task. Where it lists the task itself, and
// not a larger one, the date on its paper counts for it.
func (v *View) doneFor(s *record.Service, t *rules.Task, comp int) interval.Done {
	d := v.stoodBy(&s.Stamp, s.Meters, t, comp)
	if s.ValidUntil != "" && slices.ContainsFunc(s.Tasks, t.IsCalled) {
		d.Until, _ = interval.ParseDate(s.ValidUntil)
	}
	return d
}

// sampled adds the samples that settle the task to what was done since begin, in order of
// date. A sample counts where it was drawn.
func (v *View) sampled(d *Due, begin int, before record.Place) {
	zone, latest := v.Applied().Zone, interval.Date(0)
	if n := len(v.dones); n > begin {
		latest = v.dones[n-1].Date
	}
	v.drawn(d.Task, d.Comp, func(s *record.Sample, at record.Place) {
		if at.Compare(before) > 0 {
			return
		}
		done := v.stoodBy(&s.Stamp, s.Meters, d.Task, d.Comp)
		done.Date = interval.DateOf(time.Unix(0, at.At), zone)
		v.dones = append(v.dones, done)
		if done.Date >= latest {
			latest, d.By = done.Date, s.ID
		}
	})
	slices.SortStableFunc(v.dones[begin:], func(a, b interval.Done) int { return cmp.Compare(a.Date, b.Date) })
}

// drawn gives the samples that settle a task of a component, or of the vehicle (-1), each
// with its place.
func (v *View) drawn(t *rules.Task, comp int, each func(*record.Sample, record.Place)) {
	if !t.BySample {
		return
	}
	name, zone := v.ComponentName(comp), v.Applied().Zone
	for i := range v.Rec.Samples {
		if s := &v.Rec.Samples[i]; !s.Void && (comp < 0 || s.Component == name) {
			each(s, s.Place(zone))
		}
	}
}

// drawnSince reports whether a sample that settles the task, other than the one that asks
// for it, was drawn after a moment.
func (v *View) drawnSince(t *rules.Task, comp int, at int64, but event.ID) (found bool) {
	v.drawn(t, comp, func(s *record.Sample, p record.Place) { found = found || s.ID != but && p.At > at })
	return found
}

// drawnBy reports whether a sample that settles the task was drawn up to a place.
func (v *View) drawnBy(t *rules.Task, comp int, before record.Place) (found bool) {
	v.drawn(t, comp, func(_ *record.Sample, p record.Place) { found = found || p.Compare(before) <= 0 })
	return found
}

// stoodBy is where the meters by which a task counts (nil: the component's) stood at a fact with
// values of its own; its date is the fact's.
func (v *View) stoodBy(s *record.Stamp, own map[string]unit.Quantity, t *rules.Task, comp int) interval.Done {
	d := interval.Done{Date: interval.DateOf(time.Unix(0, s.At), v.Applied().Zone), Distance: math.NaN(), Hours: math.NaN()}
	if c := v.ChainOf(t, comp, false); c != nil {
		if value, est, ok := c.LifeAt(s, own); ok {
			d.Distance, d.Estimated = value, est
		}
	}
	if c := v.ChainOf(t, comp, true); c != nil {
		if value, est, ok := c.LifeAt(s, own); ok {
			d.Hours, d.Estimated = value, d.Estimated || est
		}
	}
	return d
}

// beforeFitted reports whether a moment is before the day on which the component was
// fitted: what was done then was done to the one before it.
func (v *View) beforeFitted(comp int, at int64) bool {
	a := v.Applied()
	return a.Fitted[comp] > 0 && interval.DateOf(time.Unix(0, at), a.Zone) < a.Fitted[comp]
}

// fitted is where the vehicle stood when the component was fitted: at nothing where that
// was as the vehicle came into service, else at what the meters were last read to show.
func (v *View) fitted(t *rules.Task, comp int) interval.Done {
	a, anew := v.Applied(), t.First != (rules.Limits{})
	on := a.Fitted[comp]
	if a.Reg.InService == on.String() {
		return interval.Done{Date: on, New: anew}
	}
	d := v.metersAt(t, comp, on.AddDays(1).Start(a.Zone).UnixNano()-1)
	d.Date, d.Estimated, d.New = on, true, anew
	return d
}
