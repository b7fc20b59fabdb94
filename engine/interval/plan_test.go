package interval

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

var nan = math.NaN()

const (
	km    = 1000.0
	mile  = 1609.344
	hours = 3600.0
)

// same compares points and work whole; NaN equals NaN.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

func samePoint(a, b Point) bool {
	return same(a.Distance, b.Distance) && same(a.Hours, b.Hours) && a.Date == b.Date && a.HasDate == b.HasDate
}

func on(t testing.TB, s string, distance float64) Done {
	return Done{Date: date(t, s), Distance: distance, Hours: nan}
}

func at(t testing.TB, distance float64, s string) Point {
	p := Point{Distance: distance, Hours: nan}
	if s != "" {
		p.Date, p.HasDate = date(t, s), true
	}
	return p
}

func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		name string
		plan Plan
		want Limits
	}{
		{"none", Plan{Every: Limits{Distance: 45000 * km, Months: 36}}, Limits{}},
		// DA PAM 738-750 para 3-3, quoted in PS Magazine 569 p. 32: a year is 360 days, 10 % of it 36.
		{"a tenth of a year", Plan{Every: Limits{Months: 12}, TolShare: 0.1}, Limits{Days: 36}},
		{"a tenth of half a year", Plan{Every: Limits{Months: 6}, TolShare: 0.1}, Limits{Days: 18}},
		{"rounded down", Plan{Every: Limits{Months: 1, Days: 9}, TolShare: 0.1}, Limits{Days: 3}},
		{"a whole number that binary fractions miss", Plan{Every: Limits{Days: 100}, TolShare: 0.29}, Limits{Days: 29}},
		{"of the shortened interval", Plan{Every: Limits{Distance: 40000 * km, Hours: 100 * hours, Months: 12}, TolShare: 0.1, Shorten: 0.75},
			Limits{Distance: 3000 * km, Hours: 7.5 * hours, Days: 27}},
		{"fixed", Plan{Every: Limits{Distance: 40000 * km, Months: 12}, TolFixed: Limits{Distance: 500 * km, Months: 1}, Shorten: 0.5},
			Limits{Distance: 500 * km, Months: 1}},
		{"all of it", Plan{Every: Limits{Distance: 5000 * mile, Days: 42}, TolShare: 1}, Limits{Distance: 5000 * mile, Days: 42}},
	} {
		if got := c.plan.Tolerance(); !nearLimits(got, c.want) {
			t.Errorf("%s: got %+v, want %+v", c.name, got, c.want)
		}
	}
}

func nearLimits(a, b Limits) bool {
	return near(a.Distance, b.Distance) && near(a.Hours, b.Hours) && a.Months == b.Months && a.Days == b.Days
}

func TestInterval(t *testing.T) {
	for _, c := range []struct {
		every Limits
		by    float64
		want  Limits
	}{
		{Limits{Distance: 45000 * km, Months: 36}, 0, Limits{Distance: 45000 * km, Months: 36}},
		{Limits{Distance: 45000 * km, Months: 36}, 0.75, Limits{Distance: 33750 * km, Months: 27}},
		{Limits{Months: 3}, 0.75, Limits{Months: 2, Days: 7}},
		{Limits{Months: 10}, 0.7, Limits{Months: 7}}, // 7 but for binary fractions
		{Limits{Days: 1}, 0.5, Limits{Days: 1}},
		{Limits{Hours: 250 * hours}, 1.2, Limits{Hours: 300 * hours}},
	} {
		if got := (Plan{Every: c.every, Shorten: c.by}).Interval(); !nearLimits(got, c.want) {
			t.Errorf("%+v by %v: got %+v, want %+v", c.every, c.by, got, c.want)
		}
	}
}

// The army's example, quoted from DA PAM 738-750 para 3-3 in PS Magazine 569
// p. 32: an annual service scheduled for 15 May 2000 may be done as early as
// 10 April or as late as 20 June. 36 days after 15 May are 20 June; 36 days before
// are 9 April, where the magazine prints the 10th. We count by the calendar.
func TestTenPercentRule(t *testing.T) {
	p := Plan{Every: Limits{Months: 12}, TolShare: 0.1, FromSchedule: true}
	last := on(t, "1999-05-15", nan)
	for _, c := range []struct{ done, next string }{
		{"2000-04-08", "2001-04-08"}, // outside: counted from the work
		{"2000-04-09", "2001-05-15"}, // inside: counted from the schedule
		{"2000-05-15", "2001-05-15"},
		{"2000-06-20", "2001-05-15"},
		{"2000-06-21", "2001-06-21"},
	} {
		_, got := p.Next([]Done{last, on(t, c.done, nan)})
		if want := at(t, nan, c.next); !samePoint(got, want) {
			t.Errorf("done on %s: got %+v, want %+v", c.done, got, want)
		}
	}
	due := at(t, nan, "2000-05-15")
	for _, c := range []struct {
		today string
		want  int
	}{{"2000-05-14", Normal}, {"2000-05-15", Due}, {"2000-06-20", Due}, {"2000-06-21", Overdue}} {
		if got := p.Judge(due, State{Distance: nan, Hours: nan, EstDistance: nan, EstHours: nan, Today: date(t, c.today), HasToday: true}); got.Stage != c.want {
			t.Errorf("on %s: got %+v, want stage %d", c.today, got, c.want)
		}
	}
}

// "24,000 mi (38,000 km) or 24 months, whichever occurs first": TM 9-2320-272-23-2 p. 0207-32.
func TestWhicheverFirst(t *testing.T) {
	p := Plan{Every: Limits{Distance: 24000 * mile, Months: 24}}
	_, due := p.Next([]Done{on(t, "2031-03-31", 10000*mile)})
	if want := at(t, 34000*mile, "2033-03-31"); !samePoint(due, want) {
		t.Fatalf("got %+v, want %+v", due, want)
	}
	for _, c := range []struct {
		today string
		miles float64
		want  Verdict
	}{
		{"2032-03-31", 33999, Verdict{Stage: Normal, Limit: ByDistance, Past: -1 * mile}},
		{"2032-03-31", 34000, Verdict{Stage: Due, Limit: ByDistance}},
		{"2032-03-31", 34100, Verdict{Stage: Overdue, Limit: ByDistance, Past: 100 * mile}},
		{"2033-03-30", 20000, Verdict{Stage: Normal, Limit: ByTime, Past: -1}},
		{"2033-03-31", 20000, Verdict{Stage: Due, Limit: ByTime}},
		{"2033-04-02", 34000, Verdict{Stage: Overdue, Limit: ByTime, Past: 2}},
	} {
		got := p.Judge(due, State{Distance: c.miles * mile, Hours: nan, EstDistance: nan, EstHours: nan, Today: date(t, c.today), HasToday: true})
		got.Past = math.Round(got.Past*1e6) / 1e6
		if c.want.Past = math.Round(c.want.Past*1e6) / 1e6; got != c.want {
			t.Errorf("%s at %v mi: got %+v, want %+v", c.today, c.miles, got, c.want)
		}
	}
}

func TestNext(t *testing.T) {
	both := Limits{Distance: 20000 * km, Months: 12}
	for _, c := range []struct {
		name    string
		plan    Plan
		history []Done
		from    Done
		want    Point
	}{
		{"never done", Plan{Every: both}, nil, on0(), at(t, nan, "")},
		{"from the work", Plan{Every: both}, []Done{on(t, "2031-01-31", 5000*km)}, on(t, "2031-01-31", 5000*km), at(t, 25000*km, "2032-01-31")},
		{"meter not known", Plan{Every: both}, []Done{on(t, "2031-01-31", nan)}, on(t, "2031-01-31", nan), at(t, nan, "2032-01-31")},
		{"inside by distance: distance from schedule, date from work", Plan{Every: both, TolShare: 0.1, FromSchedule: true},
			[]Done{on(t, "2031-01-31", 0), on(t, "2031-09-10", 21500*km)},
			on(t, "2031-09-10", 20000*km), at(t, 40000*km, "2032-09-10")},
		{"inside by time: date from schedule, distance from work", Plan{Every: both, TolShare: 0.1, FromSchedule: true},
			[]Done{on(t, "2031-01-31", 0), on(t, "2032-02-20", 12000*km)},
			on(t, "2032-01-31", 12000*km), at(t, 32000*km, "2033-01-31")},
		{"exactly at the tolerance is inside", Plan{Every: both, TolShare: 0.1, FromSchedule: true},
			[]Done{on(t, "2031-01-31", 0), on(t, "2031-09-10", 22000*km)},
			on(t, "2031-09-10", 20000*km), at(t, 40000*km, "2032-09-10")},
		{"outside: all from the work", Plan{Every: both, TolShare: 0.1, FromSchedule: true},
			[]Done{on(t, "2031-01-31", 0), on(t, "2031-09-10", 22001*km)},
			on(t, "2031-09-10", 22001*km), at(t, 42001*km, "2032-09-10")},
		{"far too early: all from the work", Plan{Every: both, TolShare: 0.1, FromSchedule: true},
			[]Done{on(t, "2031-01-31", 0), on(t, "2031-03-10", 4000*km)},
			on(t, "2031-03-10", 4000*km), at(t, 24000*km, "2032-03-10")},
		{"on schedule month ends do not creep", Plan{Every: Limits{Months: 1}, TolFixed: Limits{Days: 3}, FromSchedule: true},
			[]Done{on(t, "2031-01-31", nan), on(t, "2031-02-27", nan), on(t, "2031-03-30", nan)},
			on(t, "2031-03-31", nan), at(t, nan, "2031-04-30")},
		{"hours", Plan{Every: Limits{Hours: 250 * hours}}, []Done{{Date: date(t, "2031-01-01"), Distance: nan, Hours: 90 * hours}},
			Done{Date: date(t, "2031-01-01"), Distance: nan, Hours: 90 * hours}, Point{Distance: nan, Hours: 340 * hours}},
		{"running in", Plan{Every: both, First: Limits{Distance: 1500 * km}}, []Done{{Date: date(t, "2031-01-01"), Hours: nan, New: true}},
			Done{Date: date(t, "2031-01-01"), Hours: nan, New: true}, at(t, 1500*km, "")},
		{"after running in", Plan{Every: both, First: Limits{Distance: 1500 * km}},
			[]Done{{Date: date(t, "2031-01-01"), Hours: nan, New: true}, on(t, "2031-02-01", 1600*km)},
			on(t, "2031-02-01", 1600*km), at(t, 21600*km, "2032-02-01")},
	} {
		from, got := c.plan.Next(c.history)
		if !samePoint(got, c.want) {
			t.Errorf("%s: due %+v, want %+v", c.name, got, c.want)
		}
		if from.Date != c.from.Date || !same(from.Distance, c.from.Distance) || !same(from.Hours, c.from.Hours) || from.New != c.from.New {
			t.Errorf("%s: counted from %+v, want %+v", c.name, from, c.from)
		}
	}
}

func on0() Done { return Done{Distance: nan, Hours: nan} }

// Work always done inside the tolerance keeps a schedule for ever: the k-th date
// is the anchor and k intervals, as a calendar that goes on day by day has it.
func TestScheduleKeepsItsAnchor(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		anchor := drawCivil(r)
		months := rapid.IntRange(1, 24).Draw(r, "months")
		p := Plan{Every: Limits{Months: months}, TolFixed: Limits{Days: 10}, FromSchedule: true}
		history := []Done{{Date: anchor.date(), Distance: nan, Hours: nan}}
		for k := range rapid.IntRange(0, 12).Draw(r, "times") {
			off := rapid.IntRange(-10, 10).Draw(r, "off")
			history = append(history, Done{Date: anchor.monthsOn((k + 1) * months).date().AddDays(off), Distance: nan, Hours: nan})
		}
		_, due := p.Next(history)
		if want := anchor.monthsOn(len(history) * months).date(); due.Date != want {
			r.Fatalf("after %d times the next is %s, want %s", len(history)-1, due.Date, want)
		}
	})
}

func drawCivil(r *rapid.T) civil {
	c := civil{y: rapid.IntRange(1995, 2104).Draw(r, "year"), m: rapid.IntRange(1, 12).Draw(r, "month")}
	c.d = rapid.IntRange(1, c.monthDays()).Draw(r, "day")
	return c
}

// Whatever is asked for, and from wherever: no limit moves further away, each is
// where it was or where it is asked for, and no stage is milder than before.
func TestPullInNeverLater(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		km := func(name string) float64 {
			return rapid.OneOf(rapid.Just(nan), rapid.Map(rapid.IntRange(0, 200_000), func(n int) float64 { return float64(n) * km })).Draw(r, name)
		}
		work := drawCivil(r).date()
		plan := Plan{Every: Limits{Distance: 40000 * 1000, Months: 24}, Early: Limits{Distance: 1000 * 1000, Days: 20}, TolShare: 0.1}
		_, own := plan.Next([]Done{{Date: work, Distance: km("done at"), Hours: nan}})
		from := Done{Date: work.AddDays(rapid.IntRange(0, 900).Draw(r, "days on")), Distance: km("raised at"), Hours: nan}
		within := Limits{Distance: float64(rapid.IntRange(0, 9000).Draw(r, "within")) * 1000, Days: rapid.IntRange(0, 90).Draw(r, "within days")}
		pulled := plan
		got, ok := pulled.PullIn(own, from, within)
		wantDistance, wantDate := own.Distance, own.Date
		if within.Distance > 0 && !math.IsNaN(from.Distance) {
			wantDistance = min(from.Distance+within.Distance, own.Distance)
			if math.IsNaN(own.Distance) {
				wantDistance = from.Distance + within.Distance
			}
		}
		if within.Days > 0 {
			wantDate = min(from.Date.AddDays(within.Days), own.Date)
		}
		if same := got.Distance == wantDistance || math.IsNaN(got.Distance) && math.IsNaN(wantDistance); !same || got.Date != wantDate || !got.HasDate {
			r.Fatalf("got %+v, want %v and %s", got, wantDistance, wantDate)
		}
		if moved := got.Date != own.Date || got.Distance != own.Distance && !math.IsNaN(got.Distance); moved != ok || moved != (pulled.Pulled != (Limits{})) {
			r.Fatalf("%+v to %+v: said to be moved: %v, by %+v", own, got, ok, pulled.Pulled)
		}
		s := State{Distance: km("reads"), Hours: nan, EstDistance: nan, EstHours: nan, Today: work.AddDays(rapid.IntRange(0, 1200).Draw(r, "today")), HasToday: true}
		if before, after := plan.Judge(own, s), pulled.Judge(got, s); after.Stage < before.Stage {
			r.Fatalf("was %s, pulled in %s", say(before), say(after))
		}
	})
}

// What was asked for by then has no tolerance; the limits that were not moved keep theirs.
func TestPullInTolerance(t *testing.T) {
	plan := Plan{Every: Limits{Distance: 40000 * km, Months: 12}, TolShare: 0.1}
	_, own := plan.Next([]Done{{Date: date(t, "2031-01-10"), Distance: 0, Hours: nan}})
	due, _ := plan.PullIn(own, Done{Date: date(t, "2031-03-01"), Distance: 3000 * km, Hours: nan}, Limits{Distance: 5000 * km})
	if got, want := plan.Tolerance(), (Limits{Days: 36}); got != want {
		t.Errorf("tolerance %+v, want %+v", got, want)
	}
	for _, c := range []struct {
		today    string
		distance float64
		want     string
	}{
		{"2031-04-01", 7999, "normal by distance -1 km"},
		{"2031-04-01", 8000, "due by distance +0 km"},
		{"2031-04-01", 8001, "overdue by distance +1 km"},
		{"2032-01-10", 5000, "due by time +0 days"},
		{"2032-02-15", 5000, "due by time +36 days"},
		{"2032-02-16", 5000, "overdue by time +37 days"},
	} {
		s := unread(t, c.today)
		s.Distance = c.distance * km
		if got := say(plan.Judge(due, s)); got != c.want {
			t.Errorf("%s at %v km: got %q, want %q", c.today, c.distance, got, c.want)
		}
	}
}
