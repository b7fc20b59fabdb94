package judge

import (
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/english"
)

// Due is where one task or follow-up stands: how its due point was reckoned and, once
// judged, its stage.
type Due struct {
	Task *rules.Task // nil for a follow-up
	Fu   *rules.FollowUp
	Comp int
	Plan interval.Plan
	// last is the last time it was done; nil where never. from is what the due
	// point counts from: last, or what the policy for an unknown history says.
	Last  *interval.Done
	From  interval.Done
	By    event.ID // the service behind last, or what opened the follow-up
	Point interval.Point
	// noHistory: due, with no point. waiting: nothing to count from yet.
	NoHistory, Waiting bool
	// lapse is where a follow-up is so far past its point that it is not asked for any
	// more, by its meters alone; lapsed: it was.
	lapse     interval.Point
	lapsed    bool
	Postponed *record.Postponed
	pulls     []pull // what moved the point nearer, each by a limit that still counts

	// What follows is known once it is judged: the stage and the limit that decides.
	interval.Verdict
	State interval.State
	meter *record.Chain // of the limit that decides, nil for the calendar
	read  record.Point
	// likely is the forecast date of the first meter limit, by the chain first at the
	// life value at; sure: it is known.
	Likely interval.Date
	first  *record.Chain
	at     float64
	Sure   bool
}

// reckonNamed reckons a task, or the one that takes its place on this vehicle, as of
// a place in the history.
func (v *View) reckonNamed(name string, def *event.ComponentDef, before record.Place, at int64) (Due, bool) {
	for _, at2 := range v.Applied().Rules.Tasks {
		if (at2.Task.Name == name || slices.Contains(at2.Task.Over, name)) && (at2.Component < 0 || def != nil && v.ComponentName(at2.Component) == def.Name) {
			return v.Reckon(at2, before, at), true
		}
	}
	return Due{}, false
}

// Reckon finds the task's due point from the services up to a place.
func (v *View) Reckon(at rules.AppliedTask, before record.Place, readings int64) Due {
	t := at.Task
	d := Due{Task: t, Comp: at.Component, Plan: v.plan(at, before, readings)}
	begin := len(v.dones)
	for i := range v.Rec.Services {
		if s := &v.Rec.Services[i]; s.Stamp.Place(event.ServiceEvent).Compare(before) <= 0 && v.settlesTask(s, t, at.Component) {
			v.dones = append(v.dones, v.done(s, at.Component))
			d.By = s.ID
		}
	}
	done := v.dones[begin:]
	switch {
	case len(done) > 0:
		d.Last = &done[len(done)-1]
	default:
		first, ok := v.unknownHistory(t, at.Component)
		d.Waiting = !ok && t.History == rules.HistoryFirstReading
		d.NoHistory = !ok && !d.Waiting
		if !ok {
			d.From, d.Point = d.Plan.Next(nil)
			if d.NoHistory {
				v.applyPostponement(&d)
			}
			return d
		}
		v.dones = append(v.dones, first)
		done = v.dones[begin:]
	}
	d.From, d.Point = d.Plan.Next(done)
	if d.From.New {
		d.Plan.Every = d.Plan.First // what is judged and shown is this interval
	}
	v.applyPostponement(&d)
	return d
}

// settlesTask reports whether the service did the task or one that contains it.
func (v *View) settlesTask(s *record.Service, t *rules.Task, comp int) bool {
	return v.settles(s, t.Name, t.Was, comp) ||
		slices.ContainsFunc(t.In, func(larger string) bool { return v.settles(s, larger, "", comp) })
}

// settles reports whether the service did the task on that component (-1: on the vehicle).
func (v *View) settles(s *record.Service, name, was string, comp int) bool {
	if s.Void || !slices.Contains(s.Tasks, name) && (was == "" || !slices.Contains(s.Tasks, was)) {
		return false
	}
	return comp < 0 || s.Component == "" || s.Component == v.ComponentName(comp)
}

// done is where a service stood.
func (v *View) done(s *record.Service, comp int) interval.Done {
	a := v.Applied()
	d := interval.Done{Date: interval.DateOf(time.Unix(0, s.At), a.Zone), Distance: math.NaN(), Hours: math.NaN()}
	if c := v.Chain(comp, false); c != nil {
		if value, est, ok := c.LifeAt(&s.Stamp, s.Meters); ok {
			d.Distance, d.Estimated = value, est
		}
	}
	if c := v.Chain(comp, true); c != nil {
		if value, est, ok := c.LifeAt(&s.Stamp, s.Meters); ok {
			d.Hours, d.Estimated = value, d.Estimated || est
		}
	}
	return d
}

// unknownHistory is what the task's policy counts from.
func (v *View) unknownHistory(t *rules.Task, comp int) (interval.Done, bool) {
	a := v.Applied()
	none := interval.Done{Distance: math.NaN(), Hours: math.NaN()}
	switch t.History {
	case rules.HistoryInService:
		d, err := interval.ParseDate(a.Reg.InService)
		return interval.Done{Date: d, New: t.First != (rules.Limits{})}, err == nil
	case rules.HistoryFirstReading:
		d, found, at := none, false, int64(math.MaxInt64)
		for _, hours := range []bool{false, true} {
			c := v.Chain(comp, hours)
			if c == nil {
				continue
			}
			if p, ok := c.First(); ok {
				found, at = true, min(at, p.At)
				if hours {
					d.Hours = p.Life
				} else {
					d.Distance = p.Life
				}
			}
		}
		d.Date = interval.DateOf(time.Unix(0, at), a.Zone)
		return d, found
	}
	return none, false
}

func (v *View) plan(at rules.AppliedTask, before record.Place, readings int64) interval.Plan {
	t := at.Task
	p := interval.Plan{
		Every: interval.Limits(t.Every), First: interval.Limits(t.First), Early: interval.Limits(t.Early),
		TolShare: t.Tolerance.Share, TolFixed: interval.Limits(t.Tolerance.Fixed),
		FromSchedule: t.FromSchedule, Shorten: 1,
	}
	if t.Shorten != nil && !v.shortening {
		// A factor that asks how long until another task is due takes that task
		// without its own factor, so that no two can wait for each other.
		v.shortening = true
		defer func() { v.shortening = false }()
		value, missing := v.Shorten.Number(t.Shorten, v.FactsAt(at.Component, before, readings))
		if len(missing) == 0 && value > 0 {
			p.Shorten = value
		}
	}
	return p
}

// Reach gives the early, likely and late dates of the forecast.
func (d *Due) Reach(zone *time.Location) (dates [3]interval.Date) {
	if !d.Sure {
		return dates
	}
	last, _ := d.first.Last(math.MaxInt64)
	early, likely, late, _ := d.first.ReckonUsage(math.MaxInt64).Reach(record.Seconds(last.At), last.Life, d.at)
	for i, at := range [...]int64{early, likely, late} {
		dates[i] = interval.DateOf(time.Unix(at, 0), zone)
	}
	return dates
}

// AsksFacts reports whether the task's factor hangs on what is read.
func (d *Due) AsksFacts() bool {
	return d.Task != nil && d.Task.Shorten != nil && d.Task.Shorten.AsksFacts()
}

// LapseWall is the life value at which one of a follow-up's openings may lapse.
func (d *Due) LapseWall(hours bool) float64 {
	at := d.lapse.Distance
	if hours {
		at = d.lapse.Hours
	}
	if d.Fu == nil || math.IsNaN(at) {
		return math.Inf(1)
	}
	return at - float64(rules.Slack*math.Abs(at))
}

// CountsFrom is what the limit counts from: the last work, or what pulled it in.
func (d *Due) CountsFrom(l interval.Limit) interval.Done {
	for _, p := range d.pulls {
		if slices.Contains(p.limits, l) {
			return p.from
		}
	}
	return d.From
}

// Title is the task's or follow-up's, as a sentence begins.
func (d *Due) Title() string {
	switch {
	case d.Fu != nil:
		return followUpTitle(d.Fu)
	case d.Task.Title != "":
		return english.Capital(d.Task.Title)
	}
	return english.Capital(d.Task.Name)
}

// Cautions are what to mind at the work.
func (d *Due) Cautions() []string {
	if d.Fu != nil {
		return d.Fu.Cautions
	}
	return d.Task.Cautions
}

// EachTask gives every task and every follow-up that stands.
func (v *View) EachTask(each func(*Due, alarm.Key)) {
	for _, at := range v.Applied().Rules.Tasks {
		d := v.Reckon(at, record.LastPlace, math.MaxInt64)
		v.PullIn(&d)
		each(&d, v.Key(at.Task.Name, at.Component))
	}
	v.EachFollowUp(func(d *Due, k alarm.Key, stands bool) {
		if stands {
			each(d, k)
		}
	})
}
