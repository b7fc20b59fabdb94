package interval

import "math"

// Plan is when a task recurs, for one vehicle.
type Plan struct {
	Every Limits
	// First, where it is not zero, is the first interval of a vehicle that began
	// new, as after running in; it holds until the task was done once.
	First Limits
	// Year, where it is not zero, is the day on which it is due each year, in place of a
	// time of Every; that is then 12 months, and stands for it where a share is taken.
	Year  DayOfYear
	Early Limits // how long before a limit work is asked for; one without gives none
	// The tolerance is a share of the interval or fixed limits; without either it is 0.
	TolShare float64
	TolFixed Limits
	// FromSchedule: work inside the tolerance counts at the scheduled point.
	FromSchedule bool
	// Shorten multiplies every limit of the interval; 0 counts as 1.
	Shorten float64
	// Pulled are the limits by which the point was pulled in, of those that lie before
	// the plan's own: what was asked for by then has no tolerance. See PullIn.
	Pulled Limits
}

// Interval is Every after Shorten: how far from one point to the next. A part of
// a month is counted as that part of 30 days, rounded down (our choice; three
// quarters of 3 months are 2 months and 7 days), and a time that would come to
// nothing is one day.
func (p Plan) Interval() Limits { return shortened(p.Every, p.Shorten) }

func shortened(l Limits, by float64) Limits {
	if by == 0 || by == 1 {
		return l
	}
	out := Limits{Distance: float64(l.Distance * by), Hours: float64(l.Hours * by)}
	months := float64(float64(l.Months) * by)
	out.Months = int(floor(months))
	days := float64((months-float64(out.Months))*daysInMonth) + float64(float64(l.Days)*by)
	out.Days = int(floor(days))
	if l.hasTime() && !out.hasTime() {
		out.Days = 1
	}
	return out
}

const daysInMonth = 30 // where a share of a time is taken, as DA PAM 738-750 para 3-3 does

// floor rounds down, but a value that only binary fractions keep below a whole
// number is that number. v may be a product, which must not be fused with the sum.
func floor(v float64) float64 { return math.Floor(float64(v) + float64(1e-9*max(1, v))) }

// Tolerance is how far past a point work is not yet overdue, and how far around it
// counts as on schedule. A share is of the shortened interval; of a time it
// counts a month as 30 days and is rounded down to days, so that 10 % of
// 6 months are 18 days (DA PAM 738-750 para 3-3: 10 % of a year are 36 days).
func (p Plan) Tolerance() Limits { return p.tolerance(p.Interval()) }

func (p Plan) tolerance(every Limits) Limits {
	tol := p.TolFixed
	if p.TolShare != 0 {
		days := p.TolShare * float64(every.Months*daysInMonth+every.Days)
		tol = Limits{
			Distance: float64(p.TolShare * every.Distance),
			Hours:    float64(p.TolShare * every.Hours),
			Days:     int(floor(days)),
		}
	}
	return tol.without(p.Pulled)
}

// without leaves out the limits that o has.
func (l Limits) without(o Limits) Limits {
	if o.Distance > 0 {
		l.Distance = 0
	}
	if o.Hours > 0 {
		l.Hours = 0
	}
	if o.hasTime() {
		l.Months, l.Days = 0, 0
	}
	return l
}

// Done is a time the task was done, or what stands for one where the history is
// unknown: its local date and life values.
type Done struct {
	Date      Date
	Distance  float64 // metres; NaN unknown
	Hours     float64 // seconds; NaN unknown
	Estimated bool    // a value was not read but taken from the reading before
	New       bool    // not done, but the start of a vehicle's life: First holds from here
	// Until is the date on the paper that the work gave: the next is due then, whatever the
	// plan says. Zero: none.
	Until Date
}

// Point is where a task is due, at whichever of its limits comes first. A limit
// that does not apply is NaN, or HasDate false.
type Point struct {
	Distance float64 // metres
	Hours    float64 // seconds
	Date     Date
	HasDate  bool
}

// Next is where the task is due after the work done, given in order of time, and
// what each limit counts from: from.Distance, from.Hours and from.Date are those
// of the last work or, where it counts on schedule, the scheduled ones. Without
// any work there is no point.
//
// Counting from the schedule, work inside the tolerance around the limit that was
// used up most counts at that limit's scheduled point and for the others where it
// was done; outside, all count from the work (DA PAM 750-8: done inside the
// variance, the next is due from the schedule; outside, from the new date).
func (p Plan) Next(history []Done) (from Done, due Point) {
	if len(history) == 0 {
		return Done{Distance: math.NaN(), Hours: math.NaN()}, Point{Distance: math.NaN(), Hours: math.NaN()}
	}
	s := schedule{plan: p, every: p.Interval()}
	s.restart(history[0])
	for _, d := range history[1:] {
		s.work(d)
	}
	return s.from(), s.due()
}

// schedule is where each limit counts from. Dates are counted in steps from an
// anchor, so that month ends do not creep.
type schedule struct {
	plan  Plan
	every Limits // the interval in force
	done  Done   // Distance and Hours count from here
	date  Date   // the anchor
	steps int    // intervals from it to where the date counts from
}

func (s *schedule) restart(d Done) {
	s.every = s.plan.Interval()
	if d.New && s.plan.First != (Limits{}) {
		s.every = shortened(s.plan.First, s.plan.Shorten)
	}
	s.done, s.date, s.steps = d, d.Date, 0
}

func (s *schedule) from() Done {
	f := s.done
	f.Date = s.at(s.steps)
	return f
}

func (s *schedule) at(steps int) Date {
	if s.date.IsZero() || !s.every.hasTime() {
		return s.date
	}
	return s.date.add(s.every, steps)
}

func (s *schedule) due() Point {
	p := Point{Distance: math.NaN(), Hours: math.NaN()}
	if s.every.Distance > 0 {
		p.Distance = s.done.Distance + s.every.Distance
	}
	if s.every.Hours > 0 {
		p.Hours = s.done.Hours + s.every.Hours
	}
	if (s.every.hasTime() || s.plan.Year.Month != 0) && !s.date.IsZero() {
		p.Date, p.HasDate = s.dueDate(), true
	}
	return p
}

func (s *schedule) dueDate() Date {
	switch {
	case !s.done.Until.IsZero():
		return s.done.Until
	case s.plan.Year.Month != 0:
		return s.plan.Year.due(s.date, s.plan.Early)
	}
	return s.at(s.steps + 1)
}

// work moves on by one time the task was done.
func (s *schedule) work(d Done) {
	due := s.due()
	limit := ByNone
	if s.plan.FromSchedule && !s.done.New {
		limit = s.mostUsed(due, d)
	}
	if limit == ByNone || !s.inside(limit, due, d) {
		s.restart(d)
		return
	}
	date, steps := s.date, s.steps+1
	if !s.done.Until.IsZero() {
		date, steps = due.Date, 0
	}
	s.restart(d)
	switch limit {
	case ByDistance:
		s.done.Distance = due.Distance
	case ByHours:
		s.done.Hours = due.Hours
	case ByTime:
		if s.plan.Year.Month == 0 { // that counts by its day as it is
			s.date, s.steps = date, steps
		}
	}
}

// mostUsed is the limit of which the greatest share was used up when the work was
// done; ByNone where none can be told.
func (s *schedule) mostUsed(due Point, d Done) Limit {
	limit, most := ByNone, 0.0
	take := func(l Limit, share float64) {
		if limit == ByNone && !math.IsNaN(share) || share > most && !near(share, most) {
			limit, most = l, share
		}
	}
	if !math.IsNaN(due.Distance) {
		take(ByDistance, (d.Distance-s.done.Distance)/s.every.Distance)
	}
	if !math.IsNaN(due.Hours) {
		take(ByHours, (d.Hours-s.done.Hours)/s.every.Hours)
	}
	if due.HasDate {
		from := s.at(s.steps)
		take(ByTime, float64(d.Date.Sub(from))/float64(due.Date.Sub(from)))
	}
	return limit
}

// inside reports whether the work was within the tolerance around the point.
func (s *schedule) inside(l Limit, due Point, d Done) bool {
	tol := s.plan.tolerance(s.every)
	switch l {
	case ByDistance:
		return atLeast(tol.Distance, math.Abs(d.Distance-due.Distance))
	case ByHours:
		return atLeast(tol.Hours, math.Abs(d.Hours-due.Hours))
	}
	return d.Date >= due.Date.add(tol, -1) && d.Date <= due.Date.add(tol, 1)
}

// PullIn moves the point nearer, to where the work is asked for within some limits
// of a moment, limit by limit, and never further away. The plan notes by which
// limits it was moved; ok is false where by none.
func (p *Plan) PullIn(due Point, from Done, within Limits) (_ Point, ok bool) {
	if at := from.Distance + within.Distance; within.Distance > 0 && earlier(at, due.Distance) {
		due.Distance, p.Pulled.Distance, ok = at, within.Distance, true
	}
	if at := from.Hours + within.Hours; within.Hours > 0 && earlier(at, due.Hours) {
		due.Hours, p.Pulled.Hours, ok = at, within.Hours, true
	}
	if within.hasTime() && !from.Date.IsZero() {
		if d := from.Date.add(within, 1); !due.HasDate || d < due.Date {
			due.Date, due.HasDate, ok = d, true, true
			p.Pulled.Months, p.Pulled.Days = within.Months, within.Days
		}
	}
	return due, ok
}

// earlier reports whether a known value lies before one that may be unknown.
func earlier(a, b float64) bool { return a < b || math.IsNaN(b) && !math.IsNaN(a) }
