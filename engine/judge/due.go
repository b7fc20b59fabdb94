package judge

import (
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/defect"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/engine/wear"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
	"telltale/rules/expression"
)

// Due is where one task or follow-up stands: how its due point was reckoned and, once
// judged, its stage.
type Due struct {
	Task     *rules.Task // nil for a follow-up
	FollowUp *rules.FollowUp
	Comp     int
	Plan     interval.Plan
	// Last is the last time it was done; nil where never. From is what the due
	// point counts from: Last, or what the policy for an unknown history says.
	Last  *interval.Done
	From  interval.Done
	By    event.ID // the service behind Last, or what opened the follow-up
	Point interval.Point
	// NoHistory: due, with no point. Waiting: nothing to count from yet.
	NoHistory, Waiting bool
	// lapse is where a follow-up is so far past its point that it is not asked for any
	// more, by its meters alone; Lapsed: it was.
	lapse     interval.Point
	Lapsed    bool
	Postponed *record.Postponed
	Defects   []defect.Defect // that were reported and stand, of a task that is due when reported
	pulls     []pull          // what moved the point nearer, each by a limit that still counts
	// Worn is how each measure stands that a task is due by, wear the one that set each
	// limit, nil where none did.
	Worn []*wear.Worn
	wear [interval.ByTime + 1]*wear.Worn

	// What follows is known once it is judged: the stage and the limit that decides.
	interval.Verdict
	State interval.State
	// Untold says since when the distance or running time that it goes by cannot be told,
	// since the meter went back; "" where it can.
	Untold string
	Meter  *record.Chain // of the limit that decides, nil for the calendar; Read was read of it last
	Read   record.Point
	// Likely is the forecast date of the first meter limit, by the chain First at the
	// life value FirstAt; Sure: it is known.
	Likely  interval.Date
	First   *record.Chain
	FirstAt float64
	Sure    bool
}

// reckonNamed reckons a task that counts for a component (-1: the vehicle), or the one
// that takes its place there, as of a place in the history.
func (v *View) reckonNamed(name string, comp int, before record.Place, readings int64) (Due, bool) {
	for _, at := range v.Applied().Rules.Tasks {
		if (at.Task.Name == name || slices.Contains(at.Task.Over, name)) && (at.Component < 0 || at.Component == comp) {
			return v.Reckon(at, before, readings), true
		}
	}
	return Due{}, false
}

// Reckon finds the task's due point from the services up to a place.
func (v *View) Reckon(at applies.Task, before record.Place, readings int64) Due {
	t := at.Task
	if t.Reported {
		return v.reported(at, before)
	}
	d := Due{Task: t, Comp: at.Component, Plan: v.plan(at, before, readings)}
	begin := len(v.dones)
	v.dones, d.By = v.work().Done(v.dones, t, at.Component, before)
	done := v.dones[begin:]
	switch {
	case len(done) > 0:
		d.Last = &done[len(done)-1]
	default:
		first, ok := v.work().Unknown(t, at.Component)
		d.Waiting = !ok && t.History == rules.HistoryFirstReading
		d.NoHistory = !ok && !d.Waiting
		if !ok {
			d.From, d.Point = d.Plan.Next(nil)
			v.wearOut(&d, before)
			if d.NoHistory || len(d.Worn) > 0 && !d.Waiting {
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
	v.wearOut(&d, before)
	v.applyPostponement(&d)
	return d
}

func (v *View) plan(at applies.Task, before record.Place, readings int64) interval.Plan {
	t := at.Task
	p := interval.Plan{
		Every: interval.Limits(t.Every), Year: interval.DayOfYear(t.Year), First: interval.Limits(t.First), Early: interval.Limits(t.Early),
		TolShare: t.Tolerance.Share, TolFixed: interval.Limits(t.Tolerance.Fixed),
		FromSchedule: t.FromSchedule, Shorten: 1,
	}
	if t.Shorten != nil && !v.shortening {
		// A factor that asks how long until another task is due takes that task
		// without its own factor, so that no two can wait for each other.
		v.shortening = true
		defer func() { v.shortening = false }()
		value, missing := v.Shorten.Number(t.Shorten, v.FactsAt(at.Component, Judgement{Before: before, At: readings}))
		if len(missing) == 0 {
			p.Shorten = value
		}
	}
	return p
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
	if d.FollowUp == nil || math.IsNaN(at) {
		return math.Inf(1)
	}
	return at - float64(expression.Slack*math.Abs(at))
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
	case d.FollowUp != nil:
		return followUpTitle(d.FollowUp)
	case d.Task.Title != "":
		return english.Capital(d.Task.Title)
	}
	return english.Capital(d.Task.Name)
}

// Cautions are what to mind at the work.
func (d *Due) Cautions() []string {
	if d.FollowUp != nil {
		return d.FollowUp.Cautions
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

// JudgeDue judges a due point by what was read, by usage and by the calendar.
func (v *View) JudgeDue(d *Due) {
	switch {
	case d.Waiting:
		return
	case d.NoHistory:
		d.Stage = interval.Due
		return
	}
	d.State = v.state(d)
	d.Verdict = d.Plan.Judge(d.Point, d.State)
	if (d.FollowUp != nil && d.FollowUp.Within || len(d.pulls) > 0) && d.Stage == interval.Normal {
		d.Stage = interval.Soon
	}
	d.atOnce()
	v.hold(d)
	v.judgeUntold(d)
	switch d.Limit {
	case interval.ByDistance:
		d.Meter = v.DueChain(d, false)
	case interval.ByHours:
		d.Meter = v.DueChain(d, true)
	}
	if d.Meter != nil {
		d.Read, _ = d.Meter.LastRead(math.MaxInt64)
	}
}

// state is where the vehicle is now: as read, as estimated from its usage, and
// when it is likely to reach the meter limits.
func (v *View) state(d *Due) interval.State {
	if v.Now.IsZero() {
		return v.readOnly(d)
	}
	s := interval.State{Today: interval.DateOf(v.Now, v.Applied().Zone), HasToday: true}
	s.Distance, s.EstDistance, s.LikelyDistance, s.HasLikelyDistance = v.meterState(d, false, d.Point.Distance)
	s.Hours, s.EstHours, s.LikelyHours, s.HasLikelyHours = v.meterState(d, true, d.Point.Hours)
	return s
}

// readOnly is where the vehicle was last read to be.
func (v *View) readOnly(d *Due) interval.State {
	read := v.work().MetersBy(d.Task, d.Comp, math.MaxInt64, (*record.Chain).LastRead)
	return interval.State{Distance: read.Distance, Hours: read.Hours, EstDistance: math.NaN(), EstHours: math.NaN()}
}

// meterState is one meter's part of the state; the forecast is asked for only
// where the due point has a limit by that meter.
func (v *View) meterState(d *Due, hours bool, point float64) (read, est float64, likely interval.Date, has bool) {
	nan := math.NaN()
	a := v.Applied()
	c := v.DueChain(d, hours)
	if c == nil || math.IsNaN(point) {
		return nan, nan, likely, false
	}
	last, ok := c.LastRead(math.MaxInt64)
	if !ok {
		return nan, nan, likely, false
	}
	if _, untold := c.UntoldSince(); untold {
		return last.Life, nan, likely, false // it has run so far at least
	}
	u := c.ReckonUsage(math.MaxInt64)
	if !u.OK {
		return last.Life, nan, likely, false
	}
	est, _, _ = u.Now(record.Seconds(last.At), last.Life, v.Now.Unix())
	mid, ok := u.Likely(record.Seconds(last.At), last.Life, point)
	if !ok {
		return last.Life, est, likely, false
	}
	likely = interval.DateOf(time.Unix(mid, 0), a.Zone)
	if !d.Sure || likely.Compare(d.Likely) < 0 {
		d.Sure, d.Likely, d.First, d.FirstAt = true, likely, c, point
	}
	return last.Life, est, likely, true
}
