package work

import (
	"math"
	"time"

	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/unit"
)

// stoodBy is where the meters by which a task counts (nil: the component's) stood at a fact with
// values of its own; its date is the fact's.
func (h History) stoodBy(s *record.Stamp, own map[string]unit.Quantity, t *rules.Task, comp int) interval.Done {
	d := interval.Done{Date: interval.DateOf(time.Unix(0, s.At), h.Zone), Distance: math.NaN(), Hours: math.NaN()}
	if c := h.Chain(t, comp, false); c != nil {
		if value, est, ok := c.LifeAt(s, own); ok {
			d.Distance, d.Estimated = value, est
		}
	}
	if c := h.Chain(t, comp, true); c != nil {
		if value, est, ok := c.LifeAt(s, own); ok {
			d.Hours, d.Estimated = value, d.Estimated || est
		}
	}
	return d
}

// MetersAt is where the component's meters stood at a moment, as life values.
func (h History) MetersAt(t *rules.Task, comp int, at int64) interval.Done {
	return h.MetersBy(t, comp, at, (*record.Chain).Last)
}

// MetersBy is the same by another of the meters' points up to that moment, as the last that
// was read.
func (h History) MetersBy(t *rules.Task, comp int, at int64, lastOf func(*record.Chain, int64) (record.Point, bool)) interval.Done {
	d := interval.Done{Distance: math.NaN(), Hours: math.NaN()}
	for _, hours := range []bool{false, true} {
		c := h.Chain(t, comp, hours)
		if c == nil {
			continue
		}
		if last, ok := lastOf(c, at); ok && hours {
			d.Hours = last.Life
		} else if ok {
			d.Distance = last.Life
		}
	}
	return d
}

// Unknown is what the task's policy counts from.
func (h History) Unknown(t *rules.Task, comp int) (interval.Done, bool) {
	none := interval.Done{Distance: math.NaN(), Hours: math.NaN()}
	switch t.History {
	case rules.HistoryInService:
		if comp >= 0 && h.Fitted[comp] > 0 {
			return h.fitted(t, comp), true
		}
		d, err := interval.ParseDate(h.Reg.InService)
		return interval.Done{Date: d, New: t.First != (rules.Limits{})}, err == nil
	case rules.HistoryFirstReading:
		return h.firstRead(t, comp)
	}
	return none, false
}

// fitted is where the vehicle stood when the component was fitted: at nothing where that
// was as the vehicle came into service, else at what the meters were last read to show.
func (h History) fitted(t *rules.Task, comp int) interval.Done {
	anew := t.First != (rules.Limits{})
	on := h.Fitted[comp]
	if h.Reg.InService == on.String() {
		return interval.Done{Date: on, New: anew}
	}
	d := h.MetersAt(t, comp, on.AddDays(1).Start(h.Zone).UnixNano()-1)
	d.Date, d.Estimated, d.New = on, true, anew
	return d
}

// firstRead is where the component's meters stood at the first reading since the vehicle
// was registered, or else at its registration: what was read before, as work of years ago
// tells that is typed in later, says when the work was done and no more.
func (h History) firstRead(t *rules.Task, comp int) (interval.Done, bool) {
	d, found, at := interval.Done{Distance: math.NaN(), Hours: math.NaN()}, false, int64(math.MaxInt64)
	since, _ := h.Rec.Since()
	for _, hours := range []bool{false, true} {
		c := h.Chain(t, comp, hours)
		if c == nil {
			continue
		}
		p, ok := c.FirstSince(since)
		if !ok {
			p, ok = c.Last(since)
			p.At = since
		}
		if !ok {
			continue
		}
		found, at = true, min(at, p.At)
		if hours {
			d.Hours = p.Life
		} else {
			d.Distance = p.Life
		}
	}
	d.Date = interval.DateOf(time.Unix(0, at), h.Zone)
	return d, found
}

// Stood is where the component's own meters stood at a service.
func (h History) Stood(s *record.Service, comp int) interval.Done {
	return h.stoodBy(&s.Stamp, s.Meters, nil, comp)
}

// Chain is the meter by which a task counts on a component: the one that it names, or
// else the one that counts for the component. nil where there is none.
func (h History) Chain(t *rules.Task, comp int, hours bool) *record.Chain {
	if t == nil || t.Meter == "" || hours != (t.Every.Hours > 0) {
		return h.Rec.ChainFor(h.Reg, h.def(comp), hours)
	}
	if c := h.Rec.Chain(t.Meter); c != nil && c.Hours == hours {
		return c
	}
	return nil
}
