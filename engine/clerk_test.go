package engine_test

import (
	"fmt"
	"testing"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/intake"
	"telltale/rules"
	"telltale/rules/unit"
)

// page is a day of the calendar on a clerk's wall, who turns it over when the clock in
// the yard says that it is midnight, and knows nothing else of time.
type page struct{ y, m, d int }

func (p page) String() string { return fmt.Sprintf("%04d-%02d-%02d", p.y, p.m, p.d) }

func (p page) monthDays() int {
	switch {
	case p.m == 4 || p.m == 6 || p.m == 9 || p.m == 11:
		return 30
	case p.m == 2 && p.y%4 == 0 && (p.y%100 != 0 || p.y%400 == 0):
		return 29
	case p.m == 2:
		return 28
	}
	return 31
}

func (p page) turned() page {
	if p.d++; p.d > p.monthDays() {
		p.d, p.m = 1, p.m+1
	}
	if p.m > 12 {
		p.m, p.y = 1, p.y+1
	}
	return p
}

// monthsOn goes on month by month, and only at the end to its last day if it must.
func (p page) monthsOn(n int) page {
	for range n {
		if p.m++; p.m > 12 {
			p.m, p.y = 1, p.y+1
		}
	}
	p.d = min(p.d, p.monthDays())
	return p
}

// until is how many pages are turned to get from one day to a later one; one that is
// not later is 0 away.
func (p page) until(o page) (n int) {
	for ; p.String() < o.String(); p = p.turned() {
		n++
	}
	return n
}

// clerk keeps one task of one vehicle by the calendar alone.
type clerk struct {
	months, tolerance, early int
	schedule                 bool
	anchor                   page // months count from here
	steps                    int  // intervals since
}

func (c *clerk) due() page { return c.anchor.monthsOn((c.steps + 1) * c.months) }

func (c *clerk) done(today page) {
	due := c.due()
	if c.schedule && today.until(due) <= c.tolerance && due.until(today) <= c.tolerance {
		c.steps++
		return
	}
	c.anchor, c.steps = today, 0
}

func (c *clerk) stage(today page) alarm.Stage {
	switch due := c.due(); {
	case due.until(today) > c.tolerance:
		return "overdue"
	case due.String() <= today.String():
		return "due"
	case today.until(due) <= c.early:
		return "soon"
	}
	return "normal"
}

// TestDueByTheClerk compares the due list with the clerk's wall, once or twice a day, or every few days, over
// years, in zones where days are short, long or missing, over leap years, with
// work early, late and not at all.
func TestDueByTheClerk(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		name := rapid.SampledFrom([]string{"UTC", "Europe/London", "America/Sao_Paulo", "America/Havana", "Pacific/Apia", "Pacific/Auckland", "Asia/Kathmandu"}).Draw(rt, "zone")
		zone, err := time.LoadLocation(name)
		if err != nil {
			rt.Fatal(err)
		}
		c := &clerk{months: rapid.IntRange(1, 13).Draw(rt, "months"), schedule: rapid.Bool().Draw(rt, "schedule")}
		c.tolerance, c.early = 3*c.months*rapid.IntRange(0, 3).Draw(rt, "tolerance"), rapid.IntRange(1, 20).Draw(rt, "early")
		from := map[bool]string{true: "schedule", false: "done"}[c.schedule]
		book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: fmt.Appendf(nil, `book: 1
tasks:
  wash: {every: {time: %d months}, early: {time: %d days}, tolerance: %d%%, count from: %s, cautions: none}
`, c.months, c.early, c.tolerance*10/(3*c.months), from)}})
		if err != nil {
			rt.Fatal(err)
		}
		p := engine.NewPartition()
		p.Apply(bookEvent(book))
		now := time.Date(rapid.IntRange(1995, 2040).Draw(rt, "year"), time.Month(rapid.IntRange(1, 12).Draw(rt, "month")), rapid.IntRange(26, 31).Draw(rt, "day"),
			rapid.IntRange(0, 23).Draw(rt, "hour"), 30, 0, 0, time.UTC)
		today := func() page {
			y, m, d := now.In(zone).Date()
			return page{y, int(m), d}
		}
		apply := func(line string) {
			ev, err := intake.Short(now.Format("2006-01-02T15:04")+" "+line, fmt.Sprint(now.Unix(), line), unit.System{Distance: "km", Volume: "L"})
			if err != nil {
				rt.Fatal(err)
			}
			p.Apply(ev)
		}
		p.Apply(intake.Tick(now))
		apply("vehicle van-1 van meter odometer zone " + name)
		apply(`service van-1 "wash"`)
		c.anchor = today()
		for range rapid.IntRange(1, 3).Draw(rt, "times") {
			days := rapid.IntRange(1, 31*c.months+2*c.tolerance+10).Draw(rt, "days until the work")
			if edge := rapid.SampledFrom([]int{-c.tolerance - 1, -c.tolerance, 0, c.tolerance, c.tolerance + 1}).Draw(rt, "edge"); rapid.Bool().Draw(rt, "at an edge") {
				days = max(1, today().until(c.due())+edge)
			}
			step := rapid.SampledFrom([]time.Duration{13, 101, 101}).Draw(rt, "hours from look to look")
			end := now.AddDate(0, 0, days)
			for ; now.Before(end); now = now.Add(step * time.Hour) {
				p.Apply(intake.Tick(now))
				got := alarm.Normal
				for _, d := range p.Due(due.Query{}) {
					got = d.Stage
				}
				if want := c.stage(today()); got != want {
					rt.Fatalf("at %s, on %s in %s: %s, the clerk says %s, due on %s, of %+v", now, today(), name, got, want, c.due(), *c)
				}
			}
			now = end
			p.Apply(intake.Tick(now))
			apply(`service van-1 "wash"`)
			c.done(today())
		}
	})
}
