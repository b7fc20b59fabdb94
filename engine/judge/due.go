package judge

import (
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/defect"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/engine/wear"
	"telltale/rules"
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
	meter  *record.Chain // of the limit that decides, nil for the calendar
	read   record.Point
	// Likely is the forecast date of the first meter limit, by the chain first at the
	// life value at; Sure: it is known.
	Likely interval.Date
	first  *record.Chain
	at     float64
	Sure   bool
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
func (v *View) Reckon(at rules.AppliedTask, before record.Place, readings int64) Due {
	t := at.Task
	if t.Reported {
		return v.reported(at, before)
	}
	d := Due{Task: t, Comp: at.Component, Plan: v.plan(at, before, readings)}
	begin := len(v.dones)
	for i := range v.Rec.Services {
		if s := &v.Rec.Services[i]; s.Stamp.Place(event.ServiceEvent).Compare(before) <= 0 && v.settlesTask(s, t, at.Component) {
			v.dones = append(v.dones, v.doneFor(s, t, at.Component))
			d.By = s.ID
		}
	}
	if t.BySample {
		v.sampled(&d, begin, before)
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

// settlesTask reports whether the service did the task, one that contains it, or its twin.
func (v *View) settlesTask(s *record.Service, t *rules.Task, comp int) bool {
	did := func(t *rules.Task) bool { return v.settlesAlone(s, t, comp) }
	return did(t) || slices.ContainsFunc(v.Applied().Rules.Twins[rules.AppliedTask{Task: t, Component: comp}], did)
}

func (v *View) settlesAlone(s *record.Service, t *rules.Task, comp int) bool {
	called := func(name string) bool { return v.settles(s, name, comp) }
	return called(t.Name) || slices.ContainsFunc(t.Was, called) || slices.ContainsFunc(t.In, called)
}

// settles reports whether the service did the task on that component (-1: on the vehicle).
func (v *View) settles(s *record.Service, name string, comp int) bool {
	if s.Void || !slices.Contains(s.Tasks, name) {
		return false
	}
	return comp < 0 || (s.Component == "" || s.Component == v.ComponentName(comp)) && !v.beforeFitted(comp, s.At)
}

// done is where a service stood.
func (v *View) done(s *record.Service, comp int) interval.Done {
	return v.stoodBy(&s.Stamp, s.Meters, nil, comp)
}

// unknownHistory is what the task's policy counts from.
func (v *View) unknownHistory(t *rules.Task, comp int) (interval.Done, bool) {
	a := v.Applied()
	none := interval.Done{Distance: math.NaN(), Hours: math.NaN()}
	switch t.History {
	case rules.HistoryInService:
		if comp >= 0 && a.Fitted[comp] > 0 {
			return v.fitted(t, comp), true
		}
		d, err := interval.ParseDate(a.Reg.InService)
		return interval.Done{Date: d, New: t.First != (rules.Limits{})}, err == nil
	case rules.HistoryFirstReading:
		return v.firstRead(t, comp)
	}
	return none, false
}

// firstRead is where the component's meters stood at the first reading since the vehicle
// was registered, or else at its registration: what was read before, as work of years ago
// tells that is typed in later, says when the work was done and no more.
func (v *View) firstRead(t *rules.Task, comp int) (interval.Done, bool) {
	d, found, at := interval.Done{Distance: math.NaN(), Hours: math.NaN()}, false, int64(math.MaxInt64)
	since, _ := v.Rec.Since()
	for _, hours := range []bool{false, true} {
		c := v.ChainOf(t, comp, hours)
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
	d.Date = interval.DateOf(time.Unix(0, at), v.Applied().Zone)
	return d, found
}

func (v *View) plan(at rules.AppliedTask, before record.Place, readings int64) interval.Plan {
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

// Reach gives the early, likely and late dates of the task's forecast, the range as wide
// as the fleet's own forecasts ask for; of one that goes by wear, as wide as this may be too,
// and without a late date where it may as well not wear.
func (v *View) Reach(d *Due) (dates [3]interval.Date) {
	if !d.Sure {
		return dates
	}
	last, _ := d.first.Last(math.MaxInt64)
	from, usage := record.Seconds(last.At), d.first.ReckonUsage(math.MaxInt64)
	scale := func(ahead int64) meter.Scale { return v.Dates.Scale(d.first.Hours, ahead) }
	early, likely, late, _ := usage.Range(from, last.Life, d.at, scale)
	date := func(at int64) interval.Date { return interval.DateOf(time.Unix(at, 0), v.Applied().Zone) }
	dates = [3]interval.Date{date(early), date(likely), date(late)}
	if w := d.wornFirst(); w != nil {
		if early, _, _, ok := usage.Range(from, last.Life, w.Low, scale); ok {
			dates[0] = date(early)
		}
		_, _, late, ok := usage.Range(from, last.Life, w.High, scale)
		if dates[2] = date(late); !ok {
			dates[2] = 0 // nobody knows
		}
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
		d.meter = v.DueChain(d, false)
	case interval.ByHours:
		d.meter = v.DueChain(d, true)
	}
	if d.meter != nil {
		d.read, _ = d.meter.LastRead(math.MaxInt64)
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
	read := v.metersBy(d.Task, d.Comp, math.MaxInt64, (*record.Chain).LastRead)
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
		d.Sure, d.Likely, d.first, d.at = true, likely, c, point
	}
	return last.Life, est, likely, true
}

// duePoint is where a task stands, in the reader's units.
func (v *View) duePoint(d *Due) *alarm.DuePoint {
	if d.NoHistory {
		return &alarm.DuePoint{Limit: alarm.NoHistory}
	}
	p := &alarm.DuePoint{Limit: d.Limit.String(), PulledIn: v.PulledIn(d), Untold: d.Untold}
	if d.Point.HasDate {
		p.Date = d.Point.Date.String()
	}
	p.Early, p.Likely, p.Late = v.ForecastDates(d)
	if d.State.HasToday {
		p.On = d.State.Today.String()
	}
	p.Postponed, p.Worn = PostponedBy(d.Postponed), v.WornOf(d)
	if m, ok := v.DuePlace(d); ok {
		p.Past = v.Quantity(m.Past, m.Hours)
		if m.Face >= 0 {
			p.At = v.Quantity(m.Face, m.Hours)
		}
		if m.Replaced {
			p.InAll = v.Quantity(m.Life, m.Hours)
		}
	}
	return p
}

// ForecastDates are those between which the first limit is reached, of a task that is
// not due yet; "" where they are not known.
func (v *View) ForecastDates(d *Due) (early, likely, late string) {
	if !d.Sure || d.Stage >= interval.Due {
		return "", "", ""
	}
	reach := v.Reach(d)
	return reach[0].String(), reach[1].String(), reach[2].String()
}

// RangeWords is how wide the range of a task's forecast is taken, and how often such held.
func (v *View) RangeWords(d *Due) string {
	last, _ := d.first.Last(math.MaxInt64)
	from := record.Seconds(last.At)
	likely, _ := d.first.ReckonUsage(math.MaxInt64).Likely(from, last.Life, d.at)
	return v.Dates.RangeWords(d.first.Hours, likely-from)
}

// RangeRecord is how often the fleet's dates came within such ranges, for people; ""
// where no range is given, or too few have come.
func (v *View) RangeRecord(d *Due) string {
	if !d.Sure || d.Stage >= interval.Due {
		return ""
	}
	return v.Dates.RecordWords(d.first.Hours)
}

// MeterPlace is where a task is due by a meter, in metres or seconds.
type MeterPlace struct {
	Hours bool
	// Face is what the instrument in use shows there, below 0 where that was before it;
	// Life is over replaced instruments, which there are where Replaced.
	Face, Life float64
	Replaced   bool
	Past       float64 // how far past it the meter is
}

// DuePlace is the meter limit that decides, else the first there is. There is none where
// how far the meter has run cannot be told.
func (v *View) DuePlace(d *Due) (m MeterPlace, ok bool) {
	c := d.meter
	if c == nil {
		c = v.DueChain(d, math.IsNaN(d.Point.Distance))
	}
	if c == nil || d.NoHistory || d.Waiting {
		return m, false
	}
	m.Life, m.Hours = d.Point.Distance, c.Hours
	if c.Hours {
		m.Life = d.Point.Hours
	}
	last, ok := c.Last(math.MaxInt64)
	m.Face, m.Replaced = c.Face(m.Life)
	m.Past = last.Life - m.Life
	return m, ok && !math.IsNaN(m.Life)
}

// LastDone is the date of the last time, or the policy that stands for it.
func LastDone(d *Due) string {
	switch {
	case d.Last != nil:
		return d.Last.Date.String()
	case d.Task != nil && d.Task.Reported:
		return "not repaired yet"
	case d.NoHistory || d.From.Date.IsZero() && !d.Waiting && len(d.Worn) == 0:
		return alarm.NoHistory
	case len(d.Worn) > 0 && d.From.Date.IsZero():
		return "counted from its measurements"
	case d.Waiting:
		return "counted from the first reading"
	}
	return "counted from " + d.From.Date.String()
}
