package engine

import (
	"cmp"
	"math"
	"slices"
	"telltale/engine/interval"
	"telltale/rules"
	"telltale/rules/english"
	"time"
)

// openedFollowUp is one opening of a follow-up, by a service or a rule.
type openedFollowUp struct {
	Opening
	def  *rules.FollowUp
	comp int
	// estimated: the meter was not read then, but taken from the reading before.
	estimated bool
}

// openings derives all that opened follow-ups, in order of time.
func (f *view) openings() []openedFollowUp {
	var out []openedFollowUp
	a := f.applied()
	for _, at := range a.rules.Tasks {
		for i := range at.Task.FollowUps {
			out = append(out, f.serviceOpenings(at, &at.Task.FollowUps[i])...)
		}
	}
	for _, ar := range a.rules.Rules {
		l, _ := f.rec.latch(AlarmKey{ar.Rule.Name, f.componentName(ar.Component)})
		for _, o := range l.Openings {
			if i := slices.IndexFunc(ar.Rule.FollowUps, func(fu rules.FollowUp) bool { return fu.Name == o.Name && o.ofStage(fu.Stage) }); i >= 0 {
				out = append(out, openedFollowUp{o, &ar.Rule.FollowUps[i], ar.Component, false})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b openedFollowUp) int {
		return cmp.Or(cmp.Compare(a.comp, b.comp), cmp.Compare(a.Name, b.Name), cmp.Compare(a.At, b.At), cmp.Compare(a.By.ID, b.By.ID))
	})
	return out
}

func (f *view) serviceOpenings(at rules.AppliedTask, fu *rules.FollowUp) []openedFollowUp {
	var out []openedFollowUp
	for i := range f.rec.Services {
		s := &f.rec.Services[i]
		if !f.settlesTask(s, at.Task, at.Component) {
			continue
		}
		d := f.done(s, at.Component)
		o := Opening{Name: fu.Name, By: s.ID, At: s.At, Distance: toStored(d.Distance), Hours: toStored(d.Hours)}
		out = append(out, openedFollowUp{o, fu, at.Component, d.Estimated})
	}
	return out
}

// eachFollowUp gives every follow-up that was opened, and whether it stands. They are
// keyed by component and name; opening one that stands keeps the earlier point.
func (f *view) eachFollowUp(visit func(d *due, k AlarmKey, stands bool)) {
	for list := f.openings(); len(list) > 0; {
		n := sameFollowUp(list)
		d, stands := f.standing(list[:n])
		if !stands {
			d.fu = list[0].def
		}
		visit(&d, AlarmKey{list[0].Name, f.componentName(list[0].comp)}, stands)
		list = list[n:]
	}
}

// sameFollowUp is how many of the first openings are of one follow-up.
func sameFollowUp(list []openedFollowUp) int {
	n := 1
	for n < len(list) && list[n].comp == list[0].comp && list[n].Name == list[0].Name {
		n++
	}
	return n
}

// standing is the follow-up that stands after all openings that have not lapsed, if one
// does.
func (f *view) standing(list []openedFollowUp) (due, bool) {
	var d due
	stands, lapsed := false, false
	for i, o := range list {
		next := int64(math.MaxInt64)
		if i+1 < len(list) {
			next = list[i+1].At
		}
		opened := f.openedState(o)
		switch {
		case f.hasLapsed(&opened):
			lapsed = true
		case stands:
			opened.point, opened.lapse = earlier(d.point, opened.point), earlier(d.lapse, opened.lapse)
			opened.by = d.by
			d = opened
		default:
			d, stands = opened, true
		}
		if f.settledBetween(o, next) {
			stands, lapsed = false, false
		}
	}
	d.lapsed = lapsed && !stands
	return d, stands
}

// lapsePoint is where a follow-up lapses: by what was read, since one that was opened at
// a value nobody read may have been opened later.
func lapsePoint(o openedFollowUp, point interval.Point) interval.Point {
	at := interval.Point{Distance: math.NaN(), Hours: math.NaN()}
	if d := o.def.Lapses.Distance; d > 0 && !o.estimated {
		at.Distance = point.Distance + d
	}
	if h := o.def.Lapses.Hours; h > 0 && !o.estimated {
		at.Hours = point.Hours + h
	}
	return at
}

// hasLapsed reports whether the meters have passed where the follow-up lapses.
func (f *view) hasLapsed(d *due) bool {
	if math.IsNaN(d.lapse.Distance) && math.IsNaN(d.lapse.Hours) {
		return false
	}
	nan := math.NaN()
	s := f.readOnly(d, interval.State{Distance: nan, Hours: nan, EstDistance: nan, EstHours: nan})
	return interval.Plan{}.Judge(d.lapse, s).Stage == interval.Overdue
}

func (f *view) openedState(o openedFollowUp) due {
	from := interval.Done{Date: interval.DateOf(time.Unix(0, o.At), f.applied().zone), Distance: fromStored(o.Distance), Hours: fromStored(o.Hours)}
	d := due{fu: o.def, comp: o.comp, by: o.By, last: &from}
	d.plan = interval.Plan{
		Every: interval.Limits(o.def.At), Early: interval.Limits(o.def.Early), Shorten: 1,
		TolShare: o.def.Tolerance.Share, TolFixed: interval.Limits(o.def.Tolerance.Fixed),
	}
	d.from, d.point = d.plan.Next([]interval.Done{from})
	d.lapse = lapsePoint(o, d.point)
	return d
}

// earlier is the earlier of two due points, limit by limit.
func earlier(a, b interval.Point) interval.Point {
	out := interval.Point{Distance: least(a.Distance, b.Distance), Hours: least(a.Hours, b.Hours), Date: a.Date, HasDate: a.HasDate}
	if !a.HasDate || b.HasDate && b.Date.Compare(a.Date) < 0 {
		out.Date, out.HasDate = b.Date, b.HasDate
	}
	return out
}

func least(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

// settledBetween reports whether a service that lists the follow-up, or a sample
// where that settles it, came after the opening and not after a moment.
func (f *view) settledBetween(o openedFollowUp, until int64) bool {
	for i := range f.rec.Services {
		s := &f.rec.Services[i]
		if s.At > o.At && s.At <= until && f.settles(s, o.Name, "", o.comp) {
			return true
		}
	}
	if !o.def.BySample {
		return false
	}
	name, zone := f.componentName(o.comp), f.applied().zone
	for i := range f.rec.Samples {
		s := &f.rec.Samples[i]
		on := o.comp < 0 || s.Component == name
		if !s.Void && on && s.ID != o.By && s.place(zone).at > o.At && s.place(zone).at <= until {
			return true
		}
	}
	return false
}

func followUpTitle(fu *rules.FollowUp) string {
	if fu.Title != "" {
		return english.Capital(fu.Title)
	}
	return english.Capital(fu.Name)
}

// followUpEnd is what a follow-up says when it ends.
func (d *due) followUpEnd() string {
	if d.lapsed {
		return d.title() + ": not done in time to tell anything, and not asked for any more"
	}
	return d.title() + ": done"
}
