package engine

import (
	"math"
	"slices"
	"telltale/engine/interval"
	"telltale/rules"
	"telltale/rules/english"
	"time"
)

// due is where one task or follow-up stands: how its due point was reckoned and, once
// judged, its stage.
type due struct {
	task *rules.Task // nil for a follow-up
	fu   *rules.FollowUp
	comp int
	plan interval.Plan
	// last is the last time it was done; nil where never. from is what the due
	// point counts from: last, or what the policy for an unknown history says.
	last  *interval.Done
	from  interval.Done
	by    ID // the service behind last, or what opened the follow-up
	point interval.Point
	// noHistory: due, with no point. waiting: nothing to count from yet.
	noHistory, waiting bool
	// lapse is where a follow-up is so far past its point that it is not asked for any
	// more, by its meters alone; lapsed: it was.
	lapse     interval.Point
	lapsed    bool
	postponed *Postponed
	pulls     []pull // what moved the point nearer, each by a limit that still counts

	// What follows is known once it is judged: the stage and the limit that decides.
	interval.Verdict
	state interval.State
	meter *chain // of the limit that decides, nil for the calendar
	read  chainPoint
	// likely is the forecast date of the first meter limit, by the chain first at the
	// life value at; sure: it is known.
	likely interval.Date
	first  *chain
	at     float64
	sure   bool
}

// reckonNamed reckons a task, or the one that takes its place on this vehicle, as of
// a place in the history.
func (f *view) reckonNamed(name string, def *ComponentDef, before place, at int64) (due, bool) {
	for _, at2 := range f.applied().rules.Tasks {
		if (at2.Task.Name == name || slices.Contains(at2.Task.Over, name)) && (at2.Component < 0 || def != nil && f.componentName(at2.Component) == def.Name) {
			return f.reckon(at2, before, at), true
		}
	}
	return due{}, false
}

// reckon finds the task's due point from the services up to a place.
func (f *view) reckon(at rules.AppliedTask, before place, readings int64) due {
	t := at.Task
	d := due{task: t, comp: at.Component, plan: f.plan(at, before, readings)}
	begin := len(f.dones)
	for i := range f.rec.Services {
		if s := &f.rec.Services[i]; s.Stamp.place(ServiceEvent).compare(before) <= 0 && f.settlesTask(s, t, at.Component) {
			f.dones = append(f.dones, f.done(s, at.Component))
			d.by = s.ID
		}
	}
	done := f.dones[begin:]
	switch {
	case len(done) > 0:
		d.last = &done[len(done)-1]
	default:
		first, ok := f.unknownHistory(t, at.Component)
		d.waiting = !ok && t.History == rules.HistoryFirstReading
		d.noHistory = !ok && !d.waiting
		if !ok {
			d.from, d.point = d.plan.Next(nil)
			if d.noHistory {
				f.applyPostponement(&d)
			}
			return d
		}
		f.dones = append(f.dones, first)
		done = f.dones[begin:]
	}
	d.from, d.point = d.plan.Next(done)
	if d.from.New {
		d.plan.Every = d.plan.First // what is judged and shown is this interval
	}
	f.applyPostponement(&d)
	return d
}

// settlesTask reports whether the service did the task or one that contains it.
func (f *view) settlesTask(s *Service, t *rules.Task, comp int) bool {
	return f.settles(s, t.Name, t.Was, comp) ||
		slices.ContainsFunc(t.In, func(larger string) bool { return f.settles(s, larger, "", comp) })
}

// settles reports whether the service did the task on that component (-1: on the vehicle).
func (f *view) settles(s *Service, name, was string, comp int) bool {
	if s.Void || !slices.Contains(s.Tasks, name) && (was == "" || !slices.Contains(s.Tasks, was)) {
		return false
	}
	return comp < 0 || s.Component == "" || s.Component == f.componentName(comp)
}

// done is where a service stood.
func (f *view) done(s *Service, comp int) interval.Done {
	a := f.applied()
	d := interval.Done{Date: interval.DateOf(time.Unix(0, s.At), a.zone), Distance: math.NaN(), Hours: math.NaN()}
	if c := f.chain(comp, false); c != nil {
		if v, est, ok := c.lifeAt(&s.Stamp, s.Meters); ok {
			d.Distance, d.Estimated = v, est
		}
	}
	if c := f.chain(comp, true); c != nil {
		if v, est, ok := c.lifeAt(&s.Stamp, s.Meters); ok {
			d.Hours, d.Estimated = v, d.Estimated || est
		}
	}
	return d
}

// unknownHistory is what the task's policy counts from.
func (f *view) unknownHistory(t *rules.Task, comp int) (interval.Done, bool) {
	a := f.applied()
	none := interval.Done{Distance: math.NaN(), Hours: math.NaN()}
	switch t.History {
	case rules.HistoryInService:
		d, err := interval.ParseDate(a.reg.InService)
		return interval.Done{Date: d, New: t.First != (rules.Limits{})}, err == nil
	case rules.HistoryFirstReading:
		d, found, at := none, false, int64(math.MaxInt64)
		for _, hours := range []bool{false, true} {
			c := f.chain(comp, hours)
			if c == nil {
				continue
			}
			if p, ok := c.first(); ok {
				found, at = true, min(at, p.at)
				if hours {
					d.Hours = p.life
				} else {
					d.Distance = p.life
				}
			}
		}
		d.Date = interval.DateOf(time.Unix(0, at), a.zone)
		return d, found
	}
	return none, false
}

func (f *view) plan(at rules.AppliedTask, before place, readings int64) interval.Plan {
	t := at.Task
	p := interval.Plan{
		Every: interval.Limits(t.Every), First: interval.Limits(t.First), Early: interval.Limits(t.Early),
		TolShare: t.Tolerance.Share, TolFixed: interval.Limits(t.Tolerance.Fixed),
		FromSchedule: t.FromSchedule, Shorten: 1,
	}
	if t.Shorten != nil && !f.shortening {
		// A factor that asks how long until another task is due takes that task
		// without its own factor, so that no two can wait for each other.
		f.shortening = true
		defer func() { f.shortening = false }()
		v, missing := f.Shorten.Number(t.Shorten, f.factsAt(at.Component, before, readings))
		if len(missing) == 0 && v > 0 {
			p.Shorten = v
		}
	}
	return p
}

// reach gives the early, likely and late dates of the forecast.
func (d *due) reach(zone *time.Location) (dates [3]interval.Date) {
	if !d.sure {
		return dates
	}
	last, _ := d.first.last(math.MaxInt64)
	early, likely, late, _ := d.first.reckonUsage(math.MaxInt64).Reach(seconds(last.at), last.life, d.at)
	for i, at := range [...]int64{early, likely, late} {
		dates[i] = interval.DateOf(time.Unix(at, 0), zone)
	}
	return dates
}

func (d *due) asksFacts() bool {
	return d.task != nil && d.task.Shorten != nil && d.task.Shorten.AsksFacts()
}

// lapseWall is the life value at which one of a follow-up's openings may lapse.
func (d *due) lapseWall(hours bool) float64 {
	at := d.lapse.Distance
	if hours {
		at = d.lapse.Hours
	}
	if d.fu == nil || math.IsNaN(at) {
		return math.Inf(1)
	}
	return at - float64(rules.Slack*math.Abs(at))
}

// countsFrom is what the limit counts from: the last work, or what pulled it in.
func (d *due) countsFrom(l interval.Limit) interval.Done {
	for _, p := range d.pulls {
		if slices.Contains(p.limits, l) {
			return p.from
		}
	}
	return d.from
}

func (d *due) title() string {
	switch {
	case d.fu != nil:
		return followUpTitle(d.fu)
	case d.task.Title != "":
		return english.Capital(d.task.Title)
	}
	return english.Capital(d.task.Name)
}

func (d *due) cautions() []string {
	if d.fu != nil {
		return d.fu.Cautions
	}
	return d.task.Cautions
}

// eachTask gives every task and every follow-up that stands.
func (f *view) eachTask(each func(*due, AlarmKey)) {
	for _, at := range f.applied().rules.Tasks {
		d := f.reckon(at, lastPlace, math.MaxInt64)
		f.pullIn(&d)
		each(&d, AlarmKey{at.Task.Name, f.componentName(at.Component)})
	}
	f.eachFollowUp(func(d *due, k AlarmKey, stands bool) {
		if stands {
			each(d, k)
		}
	})
}
