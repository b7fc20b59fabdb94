package interval

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestDayOfYear: one late year moves none that follows, early work counts for the day that
// it was done for, and the paper's own date comes before all.
func TestDayOfYear(t *testing.T) {
	november := Plan{Every: Limits{Months: 12}, Year: DayOfYear{time.November, 1}}
	early := november
	early.Early = Limits{Months: 2}
	leap := Plan{Every: Limits{Months: 12}, Year: DayOfYear{time.February, 29}}
	for _, tt := range []struct {
		plan        Plan
		done, until string
		want        string
	}{
		{november, "2030-10-25", "", "2031-11-01"}, // a week early: for this year
		{november, "2030-11-01", "", "2031-11-01"},
		{november, "2031-03-20", "", "2031-11-01"}, // nearly five months late
		{november, "2031-06-01", "", "2031-11-01"}, // for no day in particular
		{november, "2031-10-01", "", "2031-11-01"}, // 31 days before
		{november, "2031-10-02", "", "2032-11-01"}, // 30 days before
		{early, "2031-08-31", "", "2031-11-01"},
		{early, "2031-09-01", "", "2032-11-01"},
		{leap, "2030-03-05", "", "2031-02-28"},
		{leap, "2031-03-05", "", "2032-02-29"},
		{november, "2031-03-20", "2031-12-24", "2031-12-24"},
		{Plan{Every: Limits{Months: 12}}, "2031-03-20", "2032-03-14", "2032-03-14"},
	} {
		done, _ := ParseDate(tt.done)
		d := Done{Date: done, Distance: math.NaN(), Hours: math.NaN()}
		if tt.until != "" {
			d.Until, _ = ParseDate(tt.until)
		}
		if _, due := tt.plan.Next([]Done{d}); due.Date.String() != tt.want {
			t.Errorf("done %s, valid until %q: due %s, want %s", tt.done, tt.until, due.Date, tt.want)
		}
	}
}

// TestPaperCountsFromItsDate: counted by the schedule, what was done within the tolerance of
// a paper's date goes on from that date.
func TestPaperCountsFromItsDate(t *testing.T) {
	p := Plan{Every: Limits{Months: 12}, TolFixed: Limits{Days: 30}, FromSchedule: true}
	at := func(s string) Date { d, _ := ParseDate(s); return d }
	done := []Done{{Date: at("2030-03-20"), Until: at("2031-03-14")}, {Date: at("2031-03-01")}}
	if _, due := p.Next(done); due.Date != at("2032-03-14") {
		t.Errorf("due %s", due.Date)
	}
	if _, due := p.Next(append(done, Done{Date: at("2032-03-20"), Until: at("2033-02-28")})); due.Date != at("2033-02-28") {
		t.Errorf("due %s", due.Date)
	}
}

// TestDayOfYearTwin compares with counting days one by one, whatever was done before.
func TestDayOfYearTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := DayOfYear{time.Month(rapid.IntRange(1, 12).Draw(t, "month")), rapid.IntRange(1, 28).Draw(t, "day")}
		early := rapid.IntRange(0, 90).Draw(t, "early")
		p := Plan{Every: Limits{Months: 12}, Year: y, Early: Limits{Days: early}, FromSchedule: rapid.Bool().Draw(t, "schedule"),
			TolFixed: Limits{Days: rapid.IntRange(0, 60).Draw(t, "tolerance")}}
		date := DateAt(2030, 1, 1).AddDays(rapid.IntRange(0, 1000).Draw(t, "first"))
		var done []Done
		for range rapid.IntRange(1, 4).Draw(t, "times") {
			done = append(done, Done{Date: date, Distance: math.NaN(), Hours: math.NaN()})
			date = date.AddDays(rapid.IntRange(1, 700).Draw(t, "later"))
		}
		if early == 0 {
			early = usualEarly
		}
		want := done[len(done)-1].Date.AddDays(early + 1)
		for {
			if _, m, d := want.utc().Date(); m == y.Month && d == y.Day {
				break
			}
			want++
		}
		if _, due := p.Next(done); due.Date != want {
			t.Fatalf("due %s, want %s", due.Date, want)
		}
	})
}
