package interval

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// clerk keeps a task that counts from its schedule, by distance and by the
// calendar, in whole kilometres and days: a slow twin of Next.
type clerk struct {
	distance, days int // every
	tolKm, tolDays int
	fromKm         int
	anchor         civil // dates count from here
	sinceDays      int   // days from the anchor to where the date counts from
}

// pages counts the days from a to b by turning pages; negative where b is before.
func pages(a, b civil) (n int) {
	for ; a.before(b); a = a.next() {
		n++
	}
	for ; b.before(a); b = b.next() {
		n--
	}
	return n
}

func within(a, b, tol int) bool { return max(a-b, b-a) <= tol }

// work enters that the task was done.
func (c *clerk) work(day civil, km int) {
	since := pages(c.anchor, day)
	usedKm := (km - c.fromKm) * c.days // shares of the interval, over a common denominator
	usedDays := (since - c.sinceDays) * c.distance
	switch dueKm, dueDays := c.fromKm+c.distance, c.sinceDays+c.days; {
	case usedKm >= usedDays && within(km, dueKm, c.tolKm):
		c.fromKm, c.anchor, c.sinceDays = dueKm, day, 0
	case usedKm < usedDays && within(since, dueDays, c.tolDays):
		c.fromKm, c.sinceDays = km, dueDays
	default:
		c.fromKm, c.anchor, c.sinceDays = km, day, 0
	}
}

func TestNextAgainstSlowTwin(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		day, driven := drawCivil(r), rapid.IntRange(0, 90000).Draw(r, "km")
		c := clerk{
			distance: rapid.IntRange(100, 20000).Draw(r, "distance"), days: rapid.IntRange(7, 400).Draw(r, "days"),
			fromKm: driven, anchor: day,
		}
		c.tolKm, c.tolDays = rapid.IntRange(0, c.distance).Draw(r, "tol km"), rapid.IntRange(0, c.days).Draw(r, "tol days")
		p := Plan{
			Every:    Limits{Distance: float64(c.distance) * km, Days: c.days},
			TolFixed: Limits{Distance: float64(c.tolKm) * km, Days: c.tolDays}, FromSchedule: true,
		}
		history := []Done{{Date: day.date(), Distance: float64(driven) * km, Hours: nan}}
		for range rapid.IntRange(0, 8).Draw(r, "times") {
			day = day.daysOn(rapid.IntRange(0, 2*c.days).Draw(r, "after days"))
			driven += rapid.IntRange(0, 2*c.distance).Draw(r, "after km")
			c.work(day, driven)
			history = append(history, Done{Date: day.date(), Distance: float64(driven) * km, Hours: nan})
		}
		from, due := p.Next(history)
		if want := float64(c.fromKm+c.distance) * km; math.Abs(due.Distance-want) > 1e-3 {
			r.Fatalf("due at %v km, the clerk says %v", due.Distance/km, want/km)
		}
		if want := c.anchor.daysOn(c.sinceDays + c.days).date(); due.Date != want {
			r.Fatalf("due on %s, the clerk says %s", due.Date, want)
		}
		if want := c.anchor.daysOn(c.sinceDays).date(); from.Date != want || math.Abs(from.Distance-float64(c.fromKm)*km) > 1e-3 {
			r.Fatalf("counted from %s at %v km, the clerk says %s at %d", from.Date, from.Distance/km, want, c.fromKm)
		}
	})
}

// Counting from the work, only the last time matters; without a schedule's
// tolerance counting from the schedule is the same unless the work was on the point.
func TestNextFromTheWork(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		w, day := drawTwin(r), drawCivil(r)
		p := w.plan()
		var history []Done
		at := 0.0
		for range rapid.IntRange(1, 6).Draw(r, "times") {
			day = day.daysOn(rapid.IntRange(1, 400).Draw(r, "after"))
			at += float64(rapid.IntRange(0, 30000).Draw(r, "km")) * km
			history = append(history, Done{Date: day.date(), Distance: at, Hours: nan})
		}
		_, all := p.Next(history)
		_, last := p.Next(history[len(history)-1:])
		if !samePoint(all, last) || all.Date != day.monthsOn(w.months).daysOn(w.days).date() || all.Distance != at+p.Every.Distance {
			r.Fatalf("got %+v, by the last alone %+v", all, last)
		}
	})
}
