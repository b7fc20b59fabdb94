package judge

import (
	"math"
	"slices"

	"telltale/engine/defect"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
)

// Takers are the tasks that take care of a defect reported of a component, or of the
// vehicle ("").
func (v *View) Takers(component string) []applies.Task {
	return defect.Takers(v.Applied().Rules.Tasks, component, v.ComponentName)
}

// reported is where a task stands that is due when somebody reports a defect: from the
// first that was reported and not repaired.
func (v *View) reported(at applies.Task, before record.Place) Due {
	nan := math.NaN()
	d := Due{Task: at.Task, Comp: at.Component, From: interval.Done{Distance: nan, Hours: nan}, Point: interval.Point{Distance: nan, Hours: nan}}
	d.Plan = interval.Plan{Shorten: 1, TolFixed: interval.Limits(at.Task.Tolerance.Fixed)}
	repairs := func(s *record.Service) bool { return v.work().Settles(s, at.Task, at.Component) }
	takes := func(s *record.Service) bool { return slices.Contains(v.Takers(s.Component), at) }
	for i := range v.Rec.Services {
		if s := &v.Rec.Services[i]; s.Stamp.Place(event.ServiceEvent).Compare(before) <= 0 && repairs(s) {
			last := v.work().Stood(s, at.Component)
			d.Last, d.By = &last, s.ID
		}
	}
	zone := v.Applied().Zone
	if d.Defects = defect.Standing(v.Rec.Services, before, zone, takes, repairs); len(d.Defects) == 0 {
		return d
	}
	d.From.Date = d.Defects[0].On
	d.Point.Date, d.Point.HasDate = d.From.Date, true
	return d
}

// atOnce makes what was reported due whatever the clock says, which may be behind the
// report, and keeps it from being overdue where the task says no by when.
func (d *Due) atOnce() {
	if len(d.Defects) == 0 {
		return
	}
	if d.Stage < interval.Due || d.Task.Tolerance == (rules.Tolerance{}) {
		d.Stage, d.Limit = interval.Due, interval.ByTime
	}
}
