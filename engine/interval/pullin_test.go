package interval

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

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
