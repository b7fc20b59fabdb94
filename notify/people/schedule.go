package people

import (
	"errors"
	"fmt"
	"math/bits"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
	"gopkg.in/yaml.v3"

	"telltale/notify/page"
	"telltale/rules/unit"
)

// wall is the form of a moment on a person's wall clock, with no zone.
const wall = "2006-01-02T15:04:05"

// schedule is a cron specification that names at most one time a day. It is
// walked on the wall clock written as if it were UTC, where no hour is missing
// and none comes twice: a slot in the spring gap falls due when the clock has
// jumped past it, and the second pass of an autumn hour lies behind the mark.
type schedule struct{ spec *cron.SpecSchedule }

func (r *reader) schedule(n *yaml.Node) (text string, turn *schedule) {
	text, ok := r.Given(n, "digest")
	if !ok {
		return "", nil
	}
	turn, err := parseSchedule(text)
	if err != nil {
		r.Fault(n, "write minute, hour, day, month and weekday: \"0 6 * * 1-6\" is six in the morning, Monday to Saturday, in the person's zone", "digest %q %s", text, page.Clean(err.Error(), 200))
	}
	return text, turn
}

func parseSchedule(text string) (s *schedule, err error) {
	// The parser panics on "TZ=UTC" with nothing after it.
	if strings.Contains(text, "TZ=") {
		return nil, errors.New("names a zone")
	}
	parsed, err := cron.ParseStandard(text)
	if err != nil {
		return nil, fmt.Errorf("cannot be read: %w", err)
	}
	spec, ok := parsed.(*cron.SpecSchedule)
	if !ok {
		return nil, errors.New("is not a time of day")
	}
	const star = 1 << 63 // cron's mark of a field that was "*"
	if bits.OnesCount64(spec.Hour&^star) != 1 || bits.OnesCount64(spec.Minute&^star) != 1 {
		return nil, errors.New("comes more than once a day")
	}
	spec.Location = time.UTC
	if spec.Next(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, errors.New("never comes")
	}
	return &schedule{spec}, nil
}

// latest is the last slot after mark and not after now, all on the wall clock;
// zero where there is none. Slots of a date that the zone left out are skipped, and so are
// those on holidays: the next list is of those days too.
func (s *schedule) latest(mark, now time.Time, zone *time.Location, free holidays) (slot time.Time) {
	// A year and a day is enough: only the latest counts.
	if far := now.AddDate(-1, 0, -1); mark.Before(far) {
		mark = far
	}
	for next := s.spec.Next(mark); !next.IsZero() && !next.After(now); next = s.spec.Next(next) {
		noon := time.Date(next.Year(), next.Month(), next.Day(), 12, 0, 0, 0, zone)
		if noon.Day() == next.Day() && !free.has(next.Format(time.DateOnly)) {
			slot = next
		}
	}
	return slot
}

// NextList is when the person's next list falls due after a moment, on the clock on their
// wall; zero without a list.
func (p *Person) NextList(now time.Time) time.Time {
	if p.turn == nil {
		return time.Time{}
	}
	wall := asUTC(now.In(p.Zone))
	for next := p.turn.spec.Next(wall); !next.IsZero(); next = p.turn.spec.Next(next) {
		if slot := p.turn.latest(next.Add(-time.Second), next, p.Zone, p.holidays); !slot.IsZero() {
			return slot
		}
	}
	return time.Time{}
}

// on reports whether the specification has a slot on the date.
func (s *schedule) on(day time.Time) bool {
	next := s.spec.Next(day.Add(-time.Second))
	return !next.IsZero() && next.Before(day.AddDate(0, 0, 1))
}

// Turn is a person's list falling due. Its key is (Person, Date).
type Turn struct {
	Person string
	Date   string // YYYY-MM-DD, the slot's date on the person's wall
}

// Turns returns whose lists fall due at now, by person, and the marks to hand in
// next time: how far each person's wall clock was looked at. A person without a
// mark (new, or the first time of all) starts from now. Turns missed in between
// are made up by the latest of them alone. A clock put back, by a season or by
// hand, makes no turn come twice.
func Turns(d *Directory, marks map[string]string, now time.Time) ([]Turn, map[string]string) {
	var turns []Turn
	next := make(map[string]string, len(d.people))
	for _, p := range d.People() {
		if p.turn == nil {
			continue
		}
		onWall := asUTC(now.In(p.Zone))
		mark, err := time.Parse(wall, marks[p.ID])
		// Further ahead than any two zones lie apart: the clock was put back.
		if err != nil || mark.After(onWall.Add(26*time.Hour)) {
			mark = onWall
		}
		if slot := p.turn.latest(mark, onWall, p.Zone, p.holidays); !slot.IsZero() {
			turns = append(turns, Turn{Person: p.ID, Date: slot.Format(time.DateOnly)})
		}
		if mark.Before(onWall) {
			mark = onWall
		}
		next[p.ID] = mark.Format(wall)
	}
	return turns, next
}

func asUTC(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
}

// quietHours are the hours of a person's wall clock in which only what cannot
// wait is told, in minutes of the day; the zero value has none. Over midnight,
// from is after to.
type quietHours struct{ from, to int }

func (r *reader) quiet(n *yaml.Node) (q quietHours) {
	text, ok := r.Given(n, "quiet")
	if !ok {
		return q
	}
	from, to, cut := strings.Cut(text, " to ")
	a, err1 := time.Parse("15:04", from)
	b, err2 := time.Parse("15:04", to)
	if !cut || err1 != nil || err2 != nil || a.Equal(b) {
		r.Fault(n, "write it like \"21:00 to 07:00\"", "quiet %q is not a range of times", text)
		return q
	}
	minute := func(t time.Time) int { return t.Hour()*60 + t.Minute() }
	return quietHours{minute(a), minute(b)}
}

// Wakes is the first moment from t on at which the person may be told: t itself
// outside the quiet hours and holidays, and else their end. A holiday is quiet all day.
func (p *Person) Wakes(t time.Time) time.Time {
	if ends, on := p.holiday(t); on {
		return p.awake(ends).UTC()
	}
	wakes := p.awake(t)
	if ends, on := p.holiday(wakes); on { // the hours end on a holiday
		return p.awake(ends).UTC()
	}
	return wakes
}

// awake is the end of the quiet hours that t is in, else t.
func (p *Person) awake(t time.Time) time.Time {
	q, local := p.quiet, t.In(p.Zone)
	now := local.Hour()*60 + local.Minute()
	within := now >= q.from && now < q.to
	if q.from > q.to {
		within = now >= q.from || now < q.to
	}
	if !within {
		return t
	}
	day := local.Day()
	if now >= q.to { // they end tomorrow
		day++
	}
	end := time.Date(local.Year(), local.Month(), day, q.to/60, q.to%60, 0, 0, p.Zone)
	if !end.After(t) { // the hour that a clock put back repeats
		end = t.Add(time.Hour)
	}
	return end.UTC()
}

// after reads a span of whole days or of hours, as for reminders; 0 where n is nil.
func (r *reader) after(n *yaml.Node, what string) time.Duration {
	if n == nil {
		return 0
	}
	q, ok := r.Quantity(n, what, unit.Days, unit.Time)
	if !ok {
		return 0
	}
	v, kind, _ := q.Base() // the kind was checked
	d := time.Duration(v * float64(time.Second))
	if kind == unit.Days {
		d = time.Duration(v * float64(24*time.Hour))
	}
	if d < time.Hour || d > 366*24*time.Hour {
		r.Fault(n, "", "%s must be from 1 h to 366 days", what)
	}
	return d
}
