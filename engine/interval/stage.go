package interval

import "math"

// The stages of a task.
const (
	Normal = iota
	Soon
	Due
	Overdue
)

// State is where a vehicle stands: Distance and Hours as last read, EstDistance
// and EstHours as estimated for now, all NaN where unknown. Likely… are the
// dates on which the meters are likely to reach the due point.
type State struct {
	Distance, Hours                   float64
	EstDistance, EstHours             float64
	Today                             Date
	HasToday                          bool
	LikelyDistance, LikelyHours       Date
	HasLikelyDistance, HasLikelyHours bool
}

// Verdict is a task's stage and the limit that decides it.
type Verdict struct {
	Stage int
	// Limit is the one that makes the stage or, of several, the one used up most; in
	// the stage Normal the one nearest to its point. ByNone where nothing is known.
	Limit Limit
	// Past is how far past the limit's point the vehicle is, in metres, seconds or
	// days; negative where it is still ahead. By meter it is from what was read.
	Past float64
	// Forecast: the stage is Soon only by an estimated meter or a forecast date.
	Forecast bool
	// Reached: the estimated meter has passed the due point though no reading has
	// shown it yet; a reading should be asked for.
	Reached bool
}

// Judge finds the stage of a task due at a point (from Next, perhaps moved by a
// postponement). Due: the meter as read has reached the point, or today its
// date. Overdue: passed by more than the tolerance; exactly at it is not yet.
// Soon: within the early limits by a meter, read or estimated, by the date, or by
// the date on which a meter is likely to reach its point. Values within 1e-9 of
// each other, relatively, are equal, and equal is reached.
func (p Plan) Judge(due Point, s State) Verdict {
	every, tol := p.Interval(), p.Tolerance()
	best, share, reached := Verdict{}, math.Inf(-1), false
	take := func(v Verdict, used float64) {
		if v.Stage > best.Stage || v.Stage == best.Stage && used > share {
			best, share = v, used
		}
		reached = reached || v.Reached
	}
	m := meter{limit: ByDistance, point: due.Distance, read: s.Distance, est: s.EstDistance, early: p.Early.Distance, tol: tol.Distance,
		close: s.HasToday && s.HasLikelyDistance && p.Early.hasTime() && s.LikelyDistance <= s.Today.add(p.Early, 1)}
	take(m.judge(span(every.Distance, p.Pulled.Distance)))
	m = meter{limit: ByHours, point: due.Hours, read: s.Hours, est: s.EstHours, early: p.Early.Hours, tol: tol.Hours,
		close: s.HasToday && s.HasLikelyHours && p.Early.hasTime() && s.LikelyHours <= s.Today.add(p.Early, 1)}
	take(m.judge(span(every.Hours, p.Pulled.Hours)))
	if due.HasDate && s.HasToday {
		take(p.judgeDate(due.Date, s.Today, every, tol))
	}
	best.Reached = reached
	return best
}

// meter is one meter's part in a stage.
type meter struct {
	limit            Limit
	point, read, est float64
	early, tol       float64
	close            bool // likely to be reached within the early time
}

// judge finds the stage by this meter, and the share of the interval used up.
func (m meter) judge(every float64) (Verdict, float64) {
	past := m.read - m.point
	if math.IsNaN(past) {
		return Verdict{}, math.Inf(-1)
	}
	v := Verdict{Limit: m.limit, Past: past}
	early := m.early > 0 && atLeast(m.read, m.point-m.early)
	v.Reached = !atLeast(m.read, m.point) && atLeast(m.est, m.point)
	switch {
	case past > m.tol && !near(m.read, m.point+m.tol):
		v.Stage = Overdue
	case atLeast(m.read, m.point):
		v.Stage = Due
	case early:
		v.Stage = Soon
	case m.close || m.early > 0 && atLeast(m.est, m.point-m.early):
		v.Stage, v.Forecast = Soon, true
	}
	return v, used(past, every)
}

func (p Plan) judgeDate(due, today Date, every, tol Limits) (Verdict, float64) {
	past := float64(today.Sub(due))
	v := Verdict{Limit: ByTime, Past: past}
	switch {
	case today > due.add(tol, 1):
		v.Stage = Overdue
	case today >= due:
		v.Stage = Due
	case p.Early.hasTime() && today >= due.add(p.Early, -1):
		v.Stage = Soon
	}
	days := span(every.days(), p.Pulled.days())
	if days == 0 {
		days = 12 * daysInMonth // put there by a person: a year, as the longest that one waits
	}
	return v, used(past, days)
}

func (l Limits) days() float64 { return float64(l.Months*daysInMonth + l.Days) }

// span is what a limit's use is measured against: the interval or, where the point
// was pulled in, the limit by which it was.
func span(every, pulled float64) float64 {
	if pulled > 0 {
		return pulled
	}
	return every
}

// used is the share of the interval that is used up. A point that was moved to a
// limit that the plan has not counts by how far ahead it is alone.
func used(past, every float64) float64 {
	if every == 0 {
		return past
	}
	return 1 + past/every
}

// NextChange is the next date after s.Today on which the calendar, or a likely
// date that s holds, can change the stage; zero where none will. The day on which
// an estimated meter reaches the early limit is not among them: it is
// where usage puts the meter at due.Distance − p.Early.Distance.
func (p Plan) NextChange(due Point, s State) Date {
	var next Date
	consider := func(d Date) {
		if d > s.Today && (next.IsZero() || d < next) {
			next = d
		}
	}
	if due.HasDate {
		consider(due.Date)
		consider(due.Date.add(p.Tolerance(), 1) + 1)
		if p.Early.hasTime() {
			consider(due.Date.add(p.Early, -1))
		}
	}
	if p.Early.hasTime() && s.HasLikelyDistance {
		consider(p.firstSoon(s.LikelyDistance))
	}
	if p.Early.hasTime() && s.HasLikelyHours {
		consider(p.firstSoon(s.LikelyHours))
	}
	return next
}

// firstSoon is the first day whose early time reaches the date: counting forward
// from today and back from the date differ at month ends.
func (p Plan) firstSoon(likely Date) Date {
	d := likely.add(p.Early, -1) - 4
	for d.add(p.Early, 1) < likely {
		d++
	}
	return d
}
