package judge

import (
	"cmp"
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
)

// openedFollowUp is one opening of a follow-up, by a service or a rule.
type openedFollowUp struct {
	latch.Opening
	def  *rules.FollowUp
	comp int
	// estimated: the meter was not read then, but taken from the reading before.
	estimated bool
}

// openings derives all that opened follow-ups, in order of time.
func (v *View) openings() []openedFollowUp {
	var out []openedFollowUp
	a := v.Applied()
	for _, at := range a.Rules.Tasks {
		for i := range at.Task.FollowUps {
			out = append(out, v.serviceOpenings(at, &at.Task.FollowUps[i])...)
		}
	}
	for _, ar := range a.Rules.Rules {
		l, _ := v.Rec.LatchOf(v.Key(ar.Rule.Name, ar.Component))
		for _, o := range l.Openings {
			if i := slices.IndexFunc(ar.Rule.FollowUps, func(fu rules.FollowUp) bool { return fu.Name == o.Name && o.OfStage(fu.Stage) }); i >= 0 {
				out = append(out, openedFollowUp{o, &ar.Rule.FollowUps[i], ar.Component, false})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b openedFollowUp) int {
		return cmp.Or(cmp.Compare(a.comp, b.comp), cmp.Compare(a.Name, b.Name), cmp.Compare(a.At, b.At), cmp.Compare(a.By.ID, b.By.ID))
	})
	return out
}

func (v *View) serviceOpenings(at applies.Task, fu *rules.FollowUp) []openedFollowUp {
	var out []openedFollowUp
	for i := range v.Rec.Services {
		s := &v.Rec.Services[i]
		if v.work().Settles(s, at.Task, at.Component) && v.Rec.Opens(s, v.Key(fu.Name, at.Component)) {
			out = append(out, v.openedBy(s, fu, at.Component))
		}
	}
	return out
}

// openedBy is the follow-up as the work opens it.
func (v *View) openedBy(s *record.Service, fu *rules.FollowUp, comp int) openedFollowUp {
	d := v.work().Stood(s, comp)
	o := latch.Opening{Name: fu.Name, By: s.ID, At: s.At, Distance: event.ToStored(d.Distance), Hours: event.ToStored(d.Hours)}
	return openedFollowUp{o, fu, comp, d.Estimated}
}

// EachFollowUp gives every follow-up that was opened, and whether it stands. They are
// keyed by component and name; opening one that stands keeps the earlier point.
func (v *View) EachFollowUp(visit func(d *Due, k alarm.Key, stands bool)) {
	for list := v.openings(); len(list) > 0; {
		n := sameFollowUp(list)
		d, stands := v.standing(list[:n])
		if !stands {
			d.FollowUp = list[0].def
		}
		visit(&d, v.Key(list[0].Name, list[0].comp), stands)
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
func (v *View) standing(list []openedFollowUp) (Due, bool) {
	var d Due
	stands, lapsed := false, false
	for i, o := range list {
		next := int64(math.MaxInt64)
		if i+1 < len(list) {
			next = list[i+1].At
		}
		opened := v.openedState(o)
		switch {
		case v.hasLapsed(&opened):
			lapsed = true
		case stands:
			opened.Point, opened.lapse = earlier(d.Point, opened.Point), earlier(d.lapse, opened.lapse)
			opened.By = d.By
			d = opened
		default:
			d, stands = opened, true
		}
		// Each opening is settled by what came before the next one: a check of the last oil
		// change says nothing of this one.
		if v.settledBetween(o, next) {
			stands, lapsed = false, false
		}
	}
	d.Lapsed = lapsed && !stands
	return d, stands
}

// dueUntilLapsed keeps a follow-up that has no tolerance of its own from being overdue before
// it lapses, which is later where nobody read the meter.
func (d *Due) dueUntilLapsed() {
	l := d.FollowUp.Lapses
	if d.FollowUp.Tolerance != (rules.Tolerance{Fixed: l}) {
		return
	}
	if l.Distance > 0 {
		d.Plan.TolFixed.Distance = d.lapse.Distance - d.Point.Distance
	}
	if l.Hours > 0 {
		d.Plan.TolFixed.Hours = d.lapse.Hours - d.Point.Hours
	}
}

// lapsePoint is where a follow-up lapses: by what was read. One that was opened at a value
// nobody read was opened before the first reading after it, so it counts from there.
func (v *View) lapsePoint(o *openedFollowUp) interval.Point {
	at := interval.Point{Distance: event.FromStored(o.Distance), Hours: event.FromStored(o.Hours)}
	if o.estimated {
		at.Distance, at.Hours = v.surelyBy(o, false), v.surelyBy(o, true)
	}
	return interval.Point{Distance: lapsesAt(at.Distance, o.def.At.Distance, o.def.Lapses.Distance),
		Hours: lapsesAt(at.Hours, o.def.At.Hours, o.def.Lapses.Hours)}
}

// lapsesAt is the life value at which a limit lapses; NaN where it does not.
func lapsesAt(from, due, lapses float64) float64 {
	if lapses == 0 {
		return math.NaN()
	}
	return from + due + lapses
}

// surelyBy is the life value by which the work that opened a follow-up was surely done:
// its own reading, else the first after it; NaN where there is none yet.
func (v *View) surelyBy(o *openedFollowUp, hours bool) float64 {
	c := v.Chain(o.comp, hours)
	i := slices.IndexFunc(v.Rec.Services, func(s record.Service) bool { return s.ID == o.By })
	if c == nil || i < 0 {
		return math.NaN()
	}
	s := &v.Rec.Services[i]
	life, estimated, ok := c.LifeAt(&s.Stamp, s.Meters)
	if estimated && ok {
		var p record.Point
		p, ok = c.After(s.At)
		life = p.Life
	}
	if !ok {
		return math.NaN()
	}
	return life
}

// hasLapsed reports whether the meters have passed where the follow-up lapses.
func (v *View) hasLapsed(d *Due) bool {
	if math.IsNaN(d.lapse.Distance) && math.IsNaN(d.lapse.Hours) {
		return false
	}
	return interval.Plan{}.Judge(d.lapse, v.readOnly(d)).Stage == interval.Overdue
}

func (v *View) openedState(o openedFollowUp) Due {
	from := v.stoodAt(&o.Opening)
	d := Due{FollowUp: o.def, Comp: o.comp, By: o.By, Last: &from}
	d.Plan = interval.Plan{
		Every: interval.Limits(o.def.At), Early: interval.Limits(o.def.Early), Shorten: 1,
		TolShare: o.def.Tolerance.Share, TolFixed: interval.Limits(o.def.Tolerance.Fixed),
	}
	d.From, d.Point = d.Plan.Next([]interval.Done{from})
	d.lapse = v.lapsePoint(&o)
	d.dueUntilLapsed()
	return d
}

// stoodAt is where the vehicle stood when something was opened.
func (v *View) stoodAt(o *latch.Opening) interval.Done {
	return interval.Done{Date: interval.DateOf(time.Unix(0, o.At), v.Applied().Zone), Distance: event.FromStored(o.Distance), Hours: event.FromStored(o.Hours)}
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
// where that settles it, came after the opening and not after a moment. What is to be done
// at once is done at the same moment, too: people enter it with the work that opened it, or
// both with the date alone. What is to be done some distance later cannot be.
func (v *View) settledBetween(o openedFollowUp, until int64) bool {
	from := o.At
	if !o.def.Within {
		from++
	}
	for i := range v.Rec.Services {
		s := &v.Rec.Services[i]
		if s.At >= from && s.At <= until && v.work().Lists(s, o.Name, o.comp) {
			return true
		}
	}
	if !o.def.BySample {
		return false
	}
	name, zone := v.ComponentName(o.comp), v.Applied().Zone
	for i := range v.Rec.Samples {
		s := &v.Rec.Samples[i]
		on := o.comp < 0 || s.Component == name
		if !s.Void && on && s.ID != o.By && s.Place(zone).At > o.At && s.Place(zone).At <= until {
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

// FollowUpEnd is what a follow-up says when it ends.
func (d *Due) FollowUpEnd() string {
	if d.Lapsed {
		return d.Title() + ": too late to be useful; removed from the list"
	}
	return d.Title() + ": done"
}
