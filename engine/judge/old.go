package judge

import (
	"math"

	"telltale/engine/interval"
	"telltale/engine/record"
)

// LookAhead notes which follow-ups work opens that is old as it is entered: those of which
// the point still lies ahead. What lies behind by then tells nothing: a leak check after
// 500 km is no work for today when the oil was changed last spring. Work that is not old,
// or nil, opens all of its own.
func (v *View) LookAhead(s *record.Service) {
	if s == nil || !s.Old || v.Book == nil || v.Rec.Registered() == nil {
		return
	}
	var ahead []record.Ahead
	for _, at := range v.Applied().Rules.Tasks {
		if !v.work().Settles(s, at.Task, at.Component) {
			continue
		}
		for i := range at.Task.FollowUps {
			d := v.openedState(v.openedBy(s, &at.Task.FollowUps[i], at.Component))
			if v.liesAhead(&d) {
				ahead = append(ahead, record.Ahead{Key: v.Key(at.Task.FollowUps[i].Name, at.Component), By: s.ID})
			}
		}
	}
	v.Rec.KeepAhead(ahead)
}

// liesAhead reports whether the point is known to lie ahead by one of its limits, and known
// to be passed by none: what a meter shows is known where it was read lately.
func (v *View) liesAhead(d *Due) bool {
	ahead, passed := false, false
	limit := func(short bool) { ahead, passed = ahead || short, passed || !short }
	if d.Point.HasDate {
		limit(d.Point.Date > interval.DateOf(v.When, v.Applied().Zone))
	}
	for _, hours := range []bool{false, true} {
		point := d.Point.Distance
		if hours {
			point = d.Point.Hours
		}
		if c := v.Chain(d.Comp, hours); c != nil && !math.IsNaN(point) {
			if p, ok := c.KnownAt(v.When); ok {
				limit(p.Life < point)
			}
		}
	}
	return ahead && !passed
}
