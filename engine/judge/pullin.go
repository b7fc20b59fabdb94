package judge

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
)

// A rule's alarm may pull a task in: from what raised it, the work is asked for
// within some distance, time or hours, if the task's own due point lies further
// away. It is soon at once, due there, and overdue past it, without tolerance. As
// with a follow-up, that stands until the work was done or a person who could know
// of it postponed it, though the alarm clears before. An alarm that rests on a share of
// the fluid that nobody measured makes the work soon and moves nothing.

// pull is an opening that moves a task's point, by some limits.
type pull struct {
	latch.Opening
	def    *rules.PullIn
	rule   string
	comp   int
	from   interval.Done
	limits []interval.Limit
}

// PulledIn reports whether an alarm moved the point.
func (d *Due) PulledIn() bool { return len(d.pulls) > 0 }

// PullIn moves a task's point to where alarms ask for it, if that is nearer.
func (v *View) PullIn(d *Due) {
	if d.NoHistory {
		return // due, wherever the vehicle stands
	}
	from, point := d.Plan, d.Point
	for _, p := range v.pulls(d) {
		p.from = v.stoodAt(&p.Opening)
		if d.Task.Meter != "" { // what was noted then is of the component's own meters
			at := v.work().MetersAt(d.Task, d.Comp, p.At)
			p.from.Distance, p.from.Hours = at.Distance, at.Hours
		}
		plan := from
		moved, ok := plan.PullIn(point, p.from, interval.Limits(p.def.Within))
		switch {
		case !ok:
			continue
		case p.Stated:
			d.pulls = append(d.pulls, p)
			continue
		}
		p.limits = movedLimits(point, moved)
		// A later pull by the same limit stands in for the earlier: it is nearer still.
		for i := range d.pulls {
			d.pulls[i].limits = slices.DeleteFunc(d.pulls[i].limits, func(l interval.Limit) bool { return slices.Contains(p.limits, l) })
		}
		d.pulls = append(d.pulls, p)
		from, point = plan, moved
	}
	d.pulls = slices.DeleteFunc(d.pulls, func(p pull) bool { return len(p.limits) == 0 && !p.Stated })
	if slices.ContainsFunc(d.pulls, func(p pull) bool { return !p.Stated }) {
		d.Plan, d.Point, d.Waiting = from, point, false
	}
}

func movedLimits(a, b interval.Point) []interval.Limit {
	var out []interval.Limit
	if b.Distance < a.Distance || math.IsNaN(a.Distance) && !math.IsNaN(b.Distance) {
		out = append(out, interval.ByDistance)
	}
	if b.Hours < a.Hours || math.IsNaN(a.Hours) && !math.IsNaN(b.Hours) {
		out = append(out, interval.ByHours)
	}
	if b.HasDate && (!a.HasDate || a.Date != b.Date) {
		out = append(out, interval.ByTime)
	}
	return out
}

// pulls are the openings that ask for the task and were not answered by the work or
// a postponement, in order of time.
func (v *View) pulls(d *Due) []pull {
	var out []pull
	for _, ar := range v.Applied().Rules.Rules {
		if len(ar.Rule.PullIns) == 0 || ar.Component >= 0 && d.Comp >= 0 && ar.Component != d.Comp {
			continue
		}
		l, _ := v.Rec.LatchOf(v.Key(ar.Rule.Name, ar.Component))
		for _, o := range l.Pulls {
			i := slices.IndexFunc(ar.Rule.PullIns, func(p rules.PullIn) bool { return p.Task == o.Name && o.OfStage(p.Stage) })
			if i >= 0 && (o.Name == d.Task.Name || slices.Contains(d.Task.Over, o.Name)) && !v.answeredPull(d.Task, d.Comp, d.Postponed, &o) {
				out = append(out, pull{Opening: o, def: &ar.Rule.PullIns[i], rule: ar.Rule.Name, comp: ar.Component})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b pull) int { return int(max(-1, min(1, a.At-b.At))) })
	return out
}

// answeredPull reports whether the task was done since, or postponed by someone who
// could know. Work after a sample answers it, on the same day too: the fluid in use is
// another one by then.
func (v *View) answeredPull(t *rules.Task, comp int, put *record.Postponed, o *latch.Opening) bool {
	knownAt := o.At
	i := slices.IndexFunc(v.Rec.Samples, func(s record.Sample) bool { return s.ID == o.By })
	if i >= 0 {
		knownAt = max(knownAt, v.Rec.Samples[i].Reported)
	}
	if put != nil && put.At > knownAt {
		return true
	}
	if v.work().DrawnSince(t, comp, o.At, o.By) {
		return true
	}
	return slices.ContainsFunc(v.Rec.Services, func(s record.Service) bool {
		since := s.At > o.At
		if i >= 0 {
			since = v.Rec.Samples[i].DrawnBefore(&s, v.Applied().Zone)
		}
		return since && v.work().Settles(&s, t, comp)
	})
}

// pullsNow are the tasks that a judgement asks for earlier, without those that were
// done since.
func (v *View) pullsNow(ar applies.Rule, l *latch.Latch, by event.ID) []string {
	return slices.DeleteFunc(latch.OpenedBy(l.Pulls, by), func(name string) bool {
		asked := func(o latch.Opening) bool { return o.By == by && o.Name == name }
		o := &l.Pulls[slices.IndexFunc(l.Pulls, asked)]
		return !slices.ContainsFunc(v.Applied().Rules.Tasks, func(at applies.Task) bool {
			meant := at.Task.Name == name || slices.Contains(at.Task.Over, name)
			apart := ar.Component >= 0 && at.Component >= 0 && ar.Component != at.Component
			return meant && !apart && !v.answeredPull(at.Task, at.Component, nil, o)
		})
	})
}

// ChangedSince says that the fluid that a sample was drawn from was changed since; ""
// where it was not.
func (v *View) ChangedSince(comp int, sample event.ID) string {
	i := slices.IndexFunc(v.Rec.Samples, func(s record.Sample) bool { return s.ID == sample && !s.Void })
	if i < 0 || comp < 0 {
		return ""
	}
	drawn, a := &v.Rec.Samples[i], v.Applied()
	c := &a.Reg.Components[comp]
	most, changed := 0.0, false
	for j := range v.Rec.Services {
		if s := &v.Rec.Services[j]; !s.Void && drawn.DrawnBefore(s, a.Zone) {
			share, ok := record.Renewed(s, a.Reg, c, v.statedShare(s, comp))
			changed, most = changed || ok, math.Max(most, share)
		}
	}
	switch fluid := cmp.Or(c.Fluid, "fluid"); {
	case !changed:
		return ""
	case most < nearlyAll:
		return "The " + fluid + " was partly changed after this sample was drawn: look at the next one"
	default:
		return "The " + fluid + " was changed after this sample was drawn: look at the next one"
	}
}

// nearlyAll is the share from which people speak of a change of the fluid, and not of a
// part of it: what a drain leaves behind in an engine is less than that. Common practice,
// no source.
const nearlyAll = 0.7

// PulledIn tells of what moved the point.
func (v *View) PulledIn(d *Due) []alarm.PulledIn {
	var out []alarm.PulledIn
	for _, p := range d.pulls {
		on := interval.DateOf(time.Unix(0, p.At), v.Applied().Zone).String()
		one := alarm.PulledIn{Rule: p.rule, Component: v.ComponentName(p.comp), On: on, Within: v.WithinWords(interval.Limits(p.def.Within)), Stated: p.Stated}
		if p.By != (event.ID{}) {
			one.By = &p.By
		}
		var limits []string
		for _, l := range p.limits {
			limits = append(limits, l.String())
		}
		one.Limits = strings.Join(limits, ", ")
		out = append(out, one)
	}
	return out
}

// hold makes a task soon that was soon by a forecast and has not moved clear.
func (v *View) hold(d *Due) {
	if d.Stage != interval.Normal {
		return
	}
	early := d.Plan.Early
	for _, hours := range [...]bool{false, true} {
		a := record.EarlyLimit{Point: d.Point.Distance, Early: early.Distance, Months: early.Months, Days: early.Days, Zone: v.Applied().Zone}
		if hours {
			a.Point, a.Early = d.Point.Hours, early.Hours
		}
		if !a.Foretold() {
			continue
		}
		c := v.DueChain(d, hours)
		if c == nil {
			continue
		}
		if _, untold := c.UntoldSince(); untold || !c.StaysSoon(&a) {
			continue
		}
		d.Stage, d.Forecast = interval.Soon, true
		last, _ := c.Last(math.MaxInt64)
		d.Past, d.Limit = last.Life-a.Point, interval.ByDistance
		if hours {
			d.Limit = interval.ByHours
		}
		return
	}
}
