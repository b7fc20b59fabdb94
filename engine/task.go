package engine

import (
	"math"
	"slices"
	"time"

	"telltale/engine/interval"
	"telltale/rules"
)

// taskState is the reckoning of one task's due point.
type taskState struct {
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
}

func localDate(t time.Time, zone *time.Location) interval.Date { return interval.DateOf(t, zone) }

// reckonNamed reckons a task, or the one that takes its place on this vehicle, as of
// a place in the history.
func (f *view) reckonNamed(name string, def *ComponentDef, before place, at int64) (taskState, bool) {
	for _, at2 := range f.applied().rules.Tasks {
		if (at2.Task.Name == name || slices.Contains(at2.Task.Over, name)) && (at2.Component < 0 || def != nil && f.componentName(at2.Component) == def.Name) {
			return f.reckon(at2, before, at), true
		}
	}
	return taskState{}, false
}

// reckon finds the task's due point from the services up to a place.
func (f *view) reckon(at rules.AppliedTask, before place, readings int64) taskState {
	t := at.Task
	ts := taskState{task: t, comp: at.Component, plan: f.plan(at, before, readings)}
	begin := len(f.dones)
	for i := range f.rec.Services {
		if s := &f.rec.Services[i]; s.Stamp.place(ServiceEvent).compare(before) <= 0 && f.settlesTask(s, t, at.Component) {
			f.dones = append(f.dones, f.done(s, at.Component))
			ts.by = s.ID
		}
	}
	done := f.dones[begin:]
	switch {
	case len(done) > 0:
		ts.last = &done[len(done)-1]
	default:
		first, ok := f.unknownHistory(t, at.Component)
		ts.waiting = !ok && t.History == rules.HistoryFirstReading
		ts.noHistory = !ok && !ts.waiting
		if !ok {
			ts.from, ts.point = ts.plan.Next(nil)
			if ts.noHistory {
				f.applyPostponement(&ts)
			}
			return ts
		}
		f.dones = append(f.dones, first)
		done = f.dones[begin:]
	}
	ts.from, ts.point = ts.plan.Next(done)
	if ts.from.New {
		ts.plan.Every = ts.plan.First // what is judged and shown is this interval
	}
	f.applyPostponement(&ts)
	return ts
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

func (f *view) def(comp int) *ComponentDef {
	if comp < 0 {
		return nil
	}
	return &f.applied().reg.Components[comp]
}

// done is where a service stood.
func (f *view) done(s *Service, comp int) interval.Done {
	a := f.applied()
	d := interval.Done{Date: localDate(time.Unix(0, s.At), a.zone), Distance: math.NaN(), Hours: math.NaN()}
	if c := f.rec.chainFor(a.reg, f.def(comp), false); c != nil {
		if v, est, ok := c.lifeAt(&s.Stamp, s.Meters); ok {
			d.Distance, d.Estimated = v, est
		}
	}
	if c := f.rec.chainFor(a.reg, f.def(comp), true); c != nil {
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
			c := f.rec.chainFor(a.reg, f.def(comp), hours)
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
		d.Date = localDate(time.Unix(0, at), a.zone)
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

// judgeTasks finds each task's stage.
func (f *fold) judgeTasks() {
	list := f.applied().rules.Tasks
	f.judged, f.moves = slices.Grow(f.judged, len(list)+2), slices.Grow(f.moves, len(list)+5)
	for _, at := range list {
		ts := f.reckon(at, lastPlace, math.MaxInt64)
		f.pullIn(&ts)
		f.judgeDue(ts, AlarmKey{at.Task.Name, f.componentName(at.Component)})
	}
}

func (f *fold) judgeDue(ts taskState, k AlarmKey) {
	f.judged = append(f.judged, judgedTask{ts: ts})
	j := &f.judged[len(f.judged)-1]
	j.v = f.verdict(&j.ts)
	f.move(move{AlarmKey: k, task: true, stage: j.v.stage, due: len(f.judged)})
}

// verdict is a task's stage with what it follows from.
type verdict struct {
	stage int
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

// reach gives the early, likely and late dates of the forecast.
func (v *verdict) reach(zone *time.Location) (dates [3]interval.Date) {
	if !v.sure {
		return dates
	}
	last, _ := v.first.last(math.MaxInt64)
	early, likely, late, _ := v.first.reckonUsage(math.MaxInt64).Reach(seconds(last.at), last.life, v.at)
	for i, at := range [...]int64{early, likely, late} {
		dates[i] = localDate(time.Unix(at, 0), zone)
	}
	return dates
}

// verdict judges a due point by what was read, by usage and by the calendar.
func (f *view) verdict(ts *taskState) verdict {
	if ts.waiting {
		return verdict{}
	}
	if ts.noHistory {
		return verdict{stage: interval.Due}
	}
	var v verdict
	v.state = f.state(ts, &v)
	v.Verdict = ts.plan.Judge(ts.point, v.state)
	v.stage = v.Stage
	if (ts.fu != nil && ts.fu.Within || len(ts.pulls) > 0) && v.stage == interval.Normal {
		v.stage = interval.Soon
	}
	f.hold(ts, &v)
	a := f.applied()
	switch v.Limit {
	case interval.ByDistance:
		v.meter = f.rec.chainFor(a.reg, f.def(ts.comp), false)
	case interval.ByHours:
		v.meter = f.rec.chainFor(a.reg, f.def(ts.comp), true)
	}
	if v.meter != nil {
		v.read, _ = v.meter.last(math.MaxInt64)
	}
	return v
}

// state is where the vehicle is now: as read, as estimated from its usage, and
// when it is likely to reach the meter limits.
func (f *view) state(ts *taskState, v *verdict) interval.State {
	a := f.applied()
	nan := math.NaN()
	s := interval.State{Distance: nan, Hours: nan, EstDistance: nan, EstHours: nan}
	if f.Now.IsZero() {
		return f.readOnly(ts, s)
	}
	s.Today = localDate(f.Now, a.zone)
	s.HasToday = true
	s.Distance, s.EstDistance, s.LikelyDistance, s.HasLikelyDistance = f.meterState(ts, false, ts.point.Distance, v)
	s.Hours, s.EstHours, s.LikelyHours, s.HasLikelyHours = f.meterState(ts, true, ts.point.Hours, v)
	return s
}

func (f *view) readOnly(ts *taskState, s interval.State) interval.State {
	for _, hours := range []bool{false, true} {
		c := f.rec.chainFor(f.applied().reg, f.def(ts.comp), hours)
		if c == nil {
			continue
		}
		if p, ok := c.last(math.MaxInt64); ok && hours {
			s.Hours = p.life
		} else if ok {
			s.Distance = p.life
		}
	}
	return s
}

// meterState is one meter's part of the state; the forecast is asked for only
// where the due point has a limit by that meter.
func (f *view) meterState(ts *taskState, hours bool, point float64, v *verdict) (read, est float64, likely interval.Date, has bool) {
	nan := math.NaN()
	a := f.applied()
	c := f.rec.chainFor(a.reg, f.def(ts.comp), hours)
	if c == nil || math.IsNaN(point) {
		return nan, nan, likely, false
	}
	last, ok := c.last(math.MaxInt64)
	if !ok {
		return nan, nan, likely, false
	}
	u := c.reckonUsage(math.MaxInt64)
	if !u.OK {
		return last.life, nan, likely, false
	}
	est, _, _ = u.Now(seconds(last.at), last.life, f.Now.Unix())
	mid, ok := u.Likely(seconds(last.at), last.life, point)
	if !ok {
		return last.life, est, likely, false
	}
	likely = localDate(time.Unix(mid, 0), a.zone)
	if !v.sure || likely.Compare(v.likely) < 0 {
		v.sure, v.likely, v.first, v.at = true, likely, c, point
	}
	return last.life, est, likely, true
}
