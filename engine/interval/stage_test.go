package interval

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

func unread(t testing.TB, today string) State {
	return State{Distance: nan, Hours: nan, EstDistance: nan, EstHours: nan, Today: date(t, today), HasToday: true}
}

var stageNames = [...]string{"normal", "soon", "due", "overdue"}

// say writes a verdict as a line of a list would.
func say(v Verdict) string {
	s := stageNames[v.Stage]
	switch v.Limit {
	case ByDistance:
		s += fmt.Sprintf(" by distance %+.0f km", v.Past/km)
	case ByHours:
		s += fmt.Sprintf(" by hours %+.1f h", v.Past/hours)
	case ByTime:
		s += fmt.Sprintf(" by time %+.0f days", v.Past)
	}
	if v.Forecast {
		s += ", forecast"
	}
	if v.Reached {
		s += ", reached by estimate"
	}
	return s
}

func TestJudge(t *testing.T) {
	plan := Plan{
		Every:    Limits{Distance: 45000 * km, Hours: 1000 * hours, Months: 36},
		Early:    Limits{Distance: 2000 * km, Hours: 50 * hours, Days: 30},
		TolShare: 0.1,
	}
	due := Point{Distance: 100000 * km, Hours: 3000 * hours, Date: date(t, "2031-06-30"), HasDate: true}
	at := func(today string, set func(s *State)) State {
		s := unread(t, today)
		s.Distance, s.Hours = 80000*km, 2500*hours
		set(&s)
		return s
	}
	for _, c := range []struct {
		name  string
		state State
		want  string
	}{
		{"nothing near", at("2029-01-01", func(s *State) {}), "normal by distance -20000 km"},
		{"early distance begins", at("2029-01-01", func(s *State) { s.Distance = 98000 * km }), "soon by distance -2000 km"},
		{"just before it", at("2029-01-01", func(s *State) { s.Distance = 97999.9 * km }), "normal by distance -2000 km"},
		{"estimated to be in the early distance", at("2029-01-01", func(s *State) { s.EstDistance = 98500 * km }), "soon by distance -20000 km, forecast"},
		{"estimated to be past the point: soon, and a reading is wanted", at("2029-01-01", func(s *State) { s.EstDistance = 100000 * km }),
			"soon by distance -20000 km, forecast, reached by estimate"},
		{"due", at("2029-01-01", func(s *State) { s.Distance = 100000 * km }), "due by distance +0 km"},
		{"equal is reached", at("2029-01-01", func(s *State) { s.Distance = 100000*km - 1e-5 }), "due by distance -0 km"},
		{"at the tolerance", at("2029-01-01", func(s *State) { s.Distance = 104500 * km }), "due by distance +4500 km"},
		{"a hair over it is equal to it", at("2029-01-01", func(s *State) { s.Distance = 104500*km + 1e-5 }), "due by distance +4500 km"},
		{"overdue", at("2029-01-01", func(s *State) { s.Distance = 104501 * km }), "overdue by distance +4501 km"},
		{"early hours", at("2029-01-01", func(s *State) { s.Hours = 2950 * hours }), "soon by hours -50.0 h"},
		{"due by hours", at("2029-01-01", func(s *State) { s.Hours = 3000 * hours }), "due by hours +0.0 h"},
		{"early days begin", at("2031-05-31", func(s *State) {}), "soon by time -30 days"},
		{"a day before", at("2031-05-30", func(s *State) {}), "normal by time -31 days"},
		{"the date", at("2031-06-30", func(s *State) {}), "due by time +0 days"},
		{"at the tolerance of 108 days", at("2031-10-16", func(s *State) {}), "due by time +108 days"},
		{"past it", at("2031-10-17", func(s *State) {}), "overdue by time +109 days"},
		{"likely in 30 days", at("2030-01-01", func(s *State) { s.LikelyDistance, s.HasLikelyDistance = date(t, "2030-01-31"), true }),
			"soon by distance -20000 km, forecast"},
		{"likely in 31 days", at("2030-01-01", func(s *State) { s.LikelyHours, s.HasLikelyHours = date(t, "2030-02-01"), true }),
			"normal by distance -20000 km"},
		{"of two stages the worse", at("2031-06-30", func(s *State) { s.Distance = 99999 * km }), "due by time +0 days"},
		{"of two due the one used up most", at("2031-07-10", func(s *State) { s.Distance = 104000 * km }), "due by distance +4000 km"},
		{"due by date, and the meter is likely there too", at("2031-06-30", func(s *State) { s.EstDistance = 101000 * km }),
			"due by time +0 days, reached by estimate"},
		{"no clock yet", State{Distance: 100001 * km, Hours: nan, EstDistance: nan, EstHours: nan}, "due by distance +1 km"},
		{"nothing known", State{Distance: nan, Hours: nan, EstDistance: nan, EstHours: nan}, "normal"},
	} {
		if got := say(plan.Judge(due, c.state)); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// A limit without an early one gives no soon, and without a tolerance it is
// overdue as soon as it is passed.
func TestJudgeBare(t *testing.T) {
	p := Plan{Every: Limits{Distance: 1000 * km, Days: 42}}
	due := Point{Distance: 5000 * km, Hours: nan, Date: date(t, "2031-03-01"), HasDate: true}
	for _, c := range []struct {
		today    string
		distance float64
		want     string
	}{
		{"2031-02-28", 4999.9, "normal by distance -0 km"},
		{"2031-02-28", 5000, "due by distance +0 km"},
		{"2031-02-28", 5000.1, "overdue by distance +0 km"},
		{"2031-03-01", 4000, "due by time +0 days"},
		{"2031-03-02", 4000, "overdue by time +1 days"},
	} {
		s := unread(t, c.today)
		s.Distance, s.EstDistance = c.distance*km, 4999.95*km
		s.LikelyDistance, s.HasLikelyDistance = s.Today, true
		if got := say(p.Judge(due, s)); got != c.want {
			t.Errorf("%s at %v km: got %q, want %q", c.today, c.distance, got, c.want)
		}
	}
}

// A point that a person moved to a date counts though the plan has no time.
func TestJudgePostponed(t *testing.T) {
	p := Plan{Every: Limits{Distance: 1000 * km}}
	due := Point{Distance: nan, Hours: nan, Date: date(t, "2031-03-01"), HasDate: true}
	for today, want := range map[string]string{
		"2031-02-20": "normal by time -9 days", "2031-03-01": "due by time +0 days", "2031-03-02": "overdue by time +1 days",
	} {
		if got := say(p.Judge(due, unread(t, today))); got != want {
			t.Errorf("%s: got %q, want %q", today, got, want)
		}
	}
}

// twin is a plan as a slow clerk keeps it, who knows only how to turn over one
// page of the calendar and to count.
type twin struct {
	months, days           int // every
	earlyMonths, earlyDays int
	tolDays                int
	distance, early, tol   int // km
}

func (w twin) plan() Plan {
	return Plan{
		Every:    Limits{Distance: float64(w.distance) * km, Months: w.months, Days: w.days},
		Early:    Limits{Distance: float64(w.early) * km, Months: w.earlyMonths, Days: w.earlyDays},
		TolFixed: Limits{Distance: float64(w.tol) * km, Days: w.tolDays},
	}
}

func drawTwin(r *rapid.T) twin {
	return twin{
		months: rapid.IntRange(0, 14).Draw(r, "months"), days: rapid.IntRange(1, 60).Draw(r, "days"),
		earlyMonths: rapid.IntRange(0, 1).Draw(r, "early months"), earlyDays: rapid.IntRange(0, 40).Draw(r, "early days"),
		tolDays:  rapid.IntRange(0, 40).Draw(r, "tolerance"),
		distance: rapid.IntRange(100, 20000).Draw(r, "distance"), early: rapid.IntRange(0, 90).Draw(r, "early"),
		tol: rapid.IntRange(0, 2000).Draw(r, "tol"),
	}
}

// byDistance is the stage by the meter, in whole kilometres.
func (w twin) byDistance(driven int) int {
	switch {
	case driven > w.distance+w.tol:
		return Overdue
	case driven >= w.distance:
		return Due
	case w.early > 0 && driven >= w.distance-w.early:
		return Soon
	}
	return Normal
}

// Day by day from the work on, over random schedules and leap years, the stage is
// the one that a clerk has who turns over page after page; and for a vehicle that
// is parked NextChange names the pages on which the stage changes, and no others.
func TestJudgeAgainstSlowTwin(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		w, work := drawTwin(r), drawCivil(r)
		p := w.plan()
		_, due := p.Next([]Done{{Date: work.date(), Distance: 0, Hours: nan}})
		dueDay := work.monthsOn(w.months).daysOn(w.days)
		soonDay := dueDay.monthsBack(w.earlyMonths).daysBack(w.earlyDays)
		if due.Date != dueDay.date() {
			r.Fatalf("due on %s, the clerk says %v", due.Date, dueDay)
		}
		perDay := rapid.IntRange(0, 150).Draw(r, "km a day")
		driven, late, stage := 0, 0, -1
		var next Date
		for day := work; late < w.tolDays+5; day = day.next() {
			byTime := Normal
			switch {
			case late > w.tolDays:
				byTime = Overdue
			case !day.before(dueDay):
				byTime = Due
			case w.earlyMonths+w.earlyDays > 0 && !day.before(soonDay):
				byTime = Soon
			}
			s := State{Distance: float64(driven) * km, Hours: nan, EstDistance: nan, EstHours: nan, Today: day.date(), HasToday: true}
			want := max(byTime, w.byDistance(driven))
			if got := p.Judge(due, s); got.Stage != want {
				r.Fatalf("on %v at %d km of %+v: %s, the clerk says %s", day, driven, w, say(got), stageNames[want])
			}
			if changed := want != stage; perDay == 0 && stage >= 0 && changed != (day.date() == next) {
				r.Fatalf("on %v of %+v the stage went from %s to %s; the next change was to be on %s", day, w, stageNames[stage], stageNames[want], next)
			}
			next, stage = p.NextChange(due, s), want
			driven += perDay
			if !day.before(dueDay) {
				late++
			}
		}
		if next != 0 {
			r.Fatalf("a change is awaited on %s", next)
		}
	})
}

// NextChange also names the day on which a likely date comes into the early time.
func TestNextChangeByForecast(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		w, today := drawTwin(r), drawCivil(r)
		p := Plan{Every: Limits{Distance: 1000 * km}, Early: w.plan().Early}
		due := Point{Distance: 1000 * km, Hours: nan}
		s := State{Distance: 0, Hours: nan, EstDistance: nan, EstHours: nan, Today: today.date(), HasToday: true}
		s.LikelyDistance, s.HasLikelyDistance = s.Today.AddDays(rapid.IntRange(0, 200).Draw(r, "likely in")), true
		next, first := p.NextChange(due, s), p.Judge(due, s).Stage
		for range 250 {
			s.Today++
			if stage := p.Judge(due, s).Stage; stage != first {
				if s.Today != next {
					r.Fatalf("changed on %s, expected on %s", s.Today, next)
				}
				return
			}
		}
		if first == Normal && p.Early.hasTime() || next != 0 {
			r.Fatalf("never changed; expected on %s", next)
		}
	})
}

func BenchmarkJudge(b *testing.B) {
	p := Plan{Every: Limits{Distance: 45000 * km, Months: 36}, Early: Limits{Distance: 2000 * km, Days: 30}, TolShare: 0.1}
	_, due := p.Next([]Done{{Date: date(b, "2030-01-31"), Distance: 0, Hours: nan}})
	s := unread(b, "2031-01-31")
	s.Distance, s.EstDistance = 20000*km, 21000*km
	b.ReportAllocs()
	for b.Loop() {
		p.Judge(due, s)
	}
}

func BenchmarkNext(b *testing.B) {
	p := Plan{Every: Limits{Distance: 45000 * km, Months: 36}, TolShare: 0.1, FromSchedule: true}
	history := []Done{{Date: date(b, "2030-01-31"), Distance: 0, Hours: nan}, {Date: date(b, "2033-01-20"), Distance: 30000 * km, Hours: nan}}
	b.ReportAllocs()
	for b.Loop() {
		p.Next(history)
	}
}
