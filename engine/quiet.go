package engine

import (
	"math"
	"slices"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/meter"
	"telltale/engine/moment"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/expression"
	"telltale/rules/unit"
)

// quiet is what lets a vehicle's next readings be taken without judging
// anything. It bounds what they may show so that judging would find every stage
// as it is; where a reading is not inside the bounds, all is judged and the bounds
// are drawn anew. It is derived, and never stored.
type quiet struct {
	book   *rules.Book
	after  int64 // Unix nanoseconds; a reading must be later than this
	alarms int64 // Unix seconds: a shelf ends or a returned alarm is forgotten
	next   int64 // Unix seconds: the next change that no reading brings nearer
	silent int64 // no meter is silent so many seconds after a reading
	meters []quietMeter
	one    [1]quietMeter // room for the only one that most vehicles have
}

// quietMeter bounds one meter. As long as its life value is below limit, no
// two readings far enough apart to reckon usage from have a steeper slope between
// them than pace, so the usage is not above it either.
type quietMeter struct {
	at          int64   // of the last reading, Unix nanoseconds
	life, shift float64 // its life value, and what that is above the face value
	ease        float64 // the least of its readings (see meter.Ease)
	pace        float64 // a second
	limit       float64 // the life value up to which pace holds
	wall        float64 // a vehicle below it at that pace is at no stage's edge
	kept        bool    // a reading may be appended
}

// Usage is reckoned from readings at least this far apart (see meter.Estimate):
// an eighth of the span that they cover, which is never less than two weeks, and a
// week at most.
const (
	usageSpan  = 14 * 24 * 3600
	usageApart = 7 * 24 * 3600
)

// takeQuietly takes a reading that changes nothing but the meter; false: it must
// be judged.
func (p *Partition) takeQuietly(r *vehicle, ev *event.Event) bool {
	q := r.quiet
	d, ok := ev.Data.(*event.ReadingData)
	if !ok || d == nil || q == nil || q.book != p.law.Book || ev.Kind != event.ReadingEvent || d.ToppedUp != nil {
		return false
	}
	i := slices.IndexFunc(r.Meters, func(m record.MeterLog) bool { return m.Name == d.Meter })
	if i < 0 || i >= len(q.meters) || !q.meters[i].kept {
		return false
	}
	m, log := &q.meters[i], &r.Meters[i]
	at := ev.Time.UnixNano()
	v, kind, err := unit.Quantity{Value: d.Value, Unit: d.Unit}.Base()
	if err != nil || (kind == unit.Time) != log.Hours || kind != unit.Time && kind != unit.Distance ||
		at <= q.after || at <= m.at || p.moment(*ev).Unix() >= q.alarms || log.Full() {
		return false
	}
	for j := range q.meters {
		if at < q.meters[j].at {
			return false // late, if only for another meter
		}
	}
	life := v + m.shift
	age := max(0, p.law.Now.Unix()-record.Seconds(at))
	// The vehicle may have run on since the reading, so the wall must hold for now.
	if life >= m.limit || life+float64(m.pace*float64(age)) >= m.wall || age > q.silent ||
		!m.follows(log.Hours, at, life) || len(r.Voids) > 0 && r.Voided(ev.ID) || r.Seen(ev.ID) != nil {
		return false
	}
	r.NoteArrival(ev, p.moment(*ev))
	r.Push(i, record.Reading{Stamp: record.StampOf(ev), Value: v}, m.shift)
	m.at, m.life, m.ease = at, life, min(m.ease, meter.Ease(meter.Reading{At: record.Seconds(at), Value: life}))
	r.Next = q.nextChange()
	return true
}

func (m *quietMeter) follows(hours bool, at int64, life float64) bool {
	c := record.Chain{Hours: hours, Ease: m.ease}
	return c.Follows(&record.Point{At: m.at, Life: m.life}, &record.Point{At: at, Life: life})
}

// nextChange is a moment before which no tick can change anything, whatever
// usage the readings since have come to.
func (q *quiet) nextChange() int64 {
	next := q.next
	for i := range q.meters {
		if m := &q.meters[i]; m.kept {
			at := record.Seconds(m.at)
			next = min(next, at+q.silent)
			if t := (m.wall - m.life) / m.pace; t < math.MaxInt32 {
				next = min(next, at+int64(t))
			}
		}
	}
	return next
}

// drawQuiet draws the bounds after a whole judgement; nil where there are none.
func (f *fold) drawQuiet() *quiet {
	r, a, chains := f.Rec, f.Applied(), f.Rec.Chains()
	onReading := func(ar applies.Rule) bool { return ar.Rule.On&(rules.OnReading|rules.OnClock) != 0 }
	if f.Now.IsZero() || len(chains) == 0 || slices.ContainsFunc(a.Rules.Rules, onReading) {
		return nil
	}
	// A factor that hangs on what is read, or a forecast, may take a stage back.
	for i := range f.judged {
		if f.judged[i].unsteady() {
			return nil
		}
	}
	for i := range r.Alarms {
		if al := &r.Alarms[i]; al.Stage > 0 && dataTitles[al.Rule] != "" {
			return nil
		}
	}
	q := &quiet{book: f.Book, after: r.LastFact(a.Zone), alarms: f.nextOfAlarms(), silent: moment.Patience(f.Book).Least}
	if q.silent == 0 {
		q.silent = math.MaxInt32 // nobody waits
	}
	q.meters = append(q.one[:0], make([]quietMeter, len(chains))...)
	q.next = q.alarms
	for i := range f.judged {
		q.next = min(q.next, f.judged[i].calendar)
	}
	for i := range chains {
		c := &chains[i]
		if !c.Healthy || r.Estimates(c) { // as in Record.takeReading
			return nil
		}
		q.meters[i] = f.boundMeter(c)
		if !q.meters[i].kept { // it stays as it is, and so does what hangs on it
			q.next = min(q.next, moment.OfMeter(&f.View, c))
			for i := range f.judged {
				q.next = min(q.next, moment.ByUsage(&f.View, &f.judged[i].Due))
			}
		}
	}
	return q
}

// boundMeter draws a meter's bounds: at the greatest pace, above what it has shown,
// at which the vehicle is still clear of every edge.
func (f *fold) boundMeter(c *record.Chain) quietMeter {
	m := quietMeter{}
	n := len(c.Points)
	if n == 0 {
		return m
	}
	last := c.Points[n-1]
	m.at, m.life, m.shift, m.ease = last.At, last.Life, last.Life-last.Face, c.Ease
	if hours, ok := f.Applied().Reg.MeterKind(c.Name, c.UnitKind()); !ok || hours != c.Hours {
		return m
	}
	apart := min(usageApart, max(usageSpan, record.Seconds(last.At)-record.Seconds(c.Points[0].At))/8)
	steepest := c.Steepest(apart)
	least := 50e3 / 86400 // a vehicle that has shown little yet
	if c.Hours {
		least = 2 * 3600 / 86400.0
	}
	age := float64(max(0, f.Now.Unix()-record.Seconds(last.At)))
	for _, pace := range [...]float64{max(2*steepest, least), 1.5 * steepest, 1.2 * steepest, 1.05 * steepest} {
		m.pace, m.wall = pace, math.Inf(1)
		for i := range f.judged {
			m.wall = min(m.wall, f.wall(c, &f.judged[i], pace))
		}
		if pace > 0 && last.Life+float64(pace*age) < m.wall {
			m.kept, m.limit = true, c.LimitAt(pace, apart)
			return m
		}
	}
	return m
}

// wall is the life value at which the task may change its stage, for a vehicle
// used at most at that pace: by what is read or, where it stands at no stage
// yet, by the estimate or forecast.
func (f *fold) wall(c *record.Chain, j *judgedTask, pace float64) float64 {
	point, early, tol := j.Due.Point.Distance, j.Due.Plan.Early.Distance, j.Due.Plan.Tolerance().Distance
	if c.Hours {
		point, early, tol = j.Due.Point.Hours, j.Due.Plan.Early.Hours, j.Due.Plan.Tolerance().Hours
	}
	if j.Due.NoHistory || math.IsNaN(point) || f.DueChain(&j.Due, c.Hours) != c {
		return math.Inf(1)
	}
	wall := point
	switch j.Due.Stage {
	case interval.Normal:
		// Clear of what a forecast holds soon, twice the early limits.
		wall -= 2 * early
		if e := j.Due.Plan.Early; e.Months+e.Days > 0 {
			// A month is at most 31 days; two more for dates that begin and end in between.
			wall = min(wall, point-float64(pace*float64((2*(31*e.Months+e.Days)+2)*86400)))
		}
	case interval.Due:
		wall += tol
	case interval.Overdue:
		wall = math.Inf(1)
	}
	// One opening may lapse at any stage, where another has a wider tolerance.
	return min(wall-float64(expression.Slack*math.Abs(point)), j.Due.LapseWall(c.Hours))
}
