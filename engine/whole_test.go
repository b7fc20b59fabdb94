package engine_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/intake"
	"telltale/engine/whole"
	"telltale/rules/unit"
)

// foldAll folds short lines, with a tick on each day before them.
func foldAll(t *testing.T, p *engine.Partition, until time.Time, lines ...string) {
	t.Helper()
	ticks := time.Date(2031, 1, 6, 6, 0, 0, 0, time.UTC)
	tick := func(to time.Time) {
		for ; !ticks.After(to); ticks = ticks.AddDate(0, 0, 1) {
			p.Apply(intake.Tick(ticks))
		}
	}
	for i, line := range lines {
		ev := short(t, fmt.Sprint(i), line)
		tick(ev.Time)
		for _, o := range p.Apply(ev) {
			if o.Refused != nil {
				t.Fatal(o.Refused.Refused)
			}
		}
	}
	tick(until)
}

// TestWhole: all of a vehicle in one answer; its meters with their use a week, what is in
// doubt, what was replaced, and one that nobody has read.
func TestWhole(t *testing.T) {
	p := engine.NewPartition()
	lines := []string{`2031-01-02 vehicle van-1 van meter odometer hours hours hours winch since 2030-04-20`}
	for w := range 16 { // 420 km and 7 h a week, and one reading of a day with a digit lost
		day := time.Date(2031, 1, 3, 0, 0, 0, 0, time.UTC).AddDate(0, 0, 7*w).Format(time.DateOnly)
		lines = append(lines, fmt.Sprintf("%s reading van-1 odometer %d", day, 40_000+420*w), fmt.Sprintf("%s reading van-1 hours %d", day, (700+7*w)%777))
		if w == 10 {
			lines = append(lines, day+" replaced van-1 hours 777h 0h")
		}
	}
	wrong := short(t, "wrong", "2031-03-23 reading van-1 odometer 4432 id wrong")
	lines = slices.Insert(lines, slices.IndexFunc(lines, func(s string) bool { return strings.HasPrefix(s, "2031-03-28") }), "2031-03-23 reading van-1 odometer 4432 id wrong")
	lines = append(lines, `2031-04-20 service van-1 "wash"`)
	until := time.Date(2031, 4, 21, 6, 0, 0, 0, time.UTC)

	without := p.AskedBy(engine.Asker{Units: unit.Metric}).Whole("van-1")
	if without != nil {
		t.Errorf("of a vehicle that nobody registered: %+v", without)
	}
	foldAll(t, p, until, lines...)
	bare := p.AskedBy(engine.Asker{Units: unit.Metric}).Whole("van-1")
	if len(bare) != 1 || bare[0].Tasks != nil || bare[0].Samples != nil || len(bare[0].Meters) != 3 || bare[0].Today != "2031-04-21" {
		t.Fatalf("without rules: %+v", bare)
	}

	p.Apply(bookEvent(load(t, dueRules)))
	p.Apply(intake.Tick(until.Add(time.Hour)))
	got := p.AskedBy(engine.Asker{Units: unit.Metric}).Whole("van-1")[0]
	km := func(v float64) *unit.Quantity { return &unit.Quantity{Value: v, Unit: "km"} }
	odometer := got.Meters[0]
	want := whole.Meter{ReckonedMeter: due.ReckonedMeter{Name: "odometer", Read: km(46300), ReadOn: "2031-04-18", PerDay: km(60), PerDayLow: km(60), PerDayHigh: km(60), Readings: 13,
		Now: odometer.Now, NowLeast: odometer.NowLeast, NowMost: odometer.NowMost},
		Week: km(420), WeekLeast: km(420), WeekMost: km(420), Disputed: 1,
		Doubts: []whole.Doubt{{On: "2031-03-23", Says: "The odometer reads 4,432 km after 44,620 km on 2031-03-21", Event: wrong.ID}}}
	same(t, "the odometer", odometer, want)
	if n := odometer.Now; n == nil || n.Value < 46_400 || n.Value > 46_600 { // three days and a bit at 60 km
		t.Errorf("now it shows %+v", n)
	}
	if s := odometer.Uses(); s != "420 km a week" {
		t.Errorf("it uses %q", s)
	}
	hours := got.Meters[1]
	if h := hours.Replaced; len(h) != 1 || h[0].On != "2031-03-14" || h[0].Last.String() != "777 h" || hours.ReadInAll == nil || hours.ReadInAll.Value != 805 || hours.Uses() == "" || !hours.Hours {
		t.Errorf("the hour meter: %+v", hours)
	}
	if w := got.Meters[2]; w.Name != "winch" || !w.Hours || w.Read != nil || w.Uses() != "" {
		t.Errorf("the winch: %+v", w)
	}
	var tasks []string
	for _, i := range got.Tasks {
		tasks = append(tasks, fmt.Sprint(i.Stage, " ", i.Task, " ", i.DueDate, " ", i.LastDone))
	}
	same(t, "the tasks", tasks, []string{"overdue annual test 2031-04-20 counted from 2030-04-20", "due engine oil  no history", "normal wash 2031-05-20 2031-04-20"})
	if len(got.Alarms) != 3 || got.OutSince != "" {
		t.Errorf("%d alarms, out since %q", len(got.Alarms), got.OutSince)
	}

	foldOut := short(t, "out", `2031-04-21 answer van-1 "out of service" by ines why "laid up"`)
	foldOut.Time, foldOut.Recorded = until.Add(2*time.Hour), until.Add(2*time.Hour)
	p.Apply(foldOut)
	out := p.AskedBy(engine.Asker{Units: unit.Metric}).Whole("van-1")[0]
	if out.OutSince != "2031-04-21" || len(out.Tasks) != 3 || len(p.Due(due.Query{Vehicle: "van-1"})) != 0 {
		t.Errorf("out of service since %q with %d tasks", out.OutSince, len(out.Tasks))
	}
}

// same compares two values as JSON, which shows where they differ.
func same(t *testing.T, what string, got, want any) {
	t.Helper()
	a, _ := json.MarshalIndent(got, "", " ")
	b, _ := json.MarshalIndent(want, "", " ")
	if string(a) != string(b) {
		t.Errorf("%s: got %s\nwant %s", what, a, b)
	}
}

// TestWholeSilent: a meter that is read each day, and then not for long.
func TestWholeSilent(t *testing.T) {
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, dueRules)))
	lines := []string{`2031-01-02 vehicle van-1 van meter odometer since 2030-04-20`}
	for d := range 30 {
		lines = append(lines, fmt.Sprintf("%s reading van-1 odometer %d", time.Date(2031, 1, 3+d, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), 40_000+60*d))
	}
	foldAll(t, p, time.Date(2031, 4, 1, 0, 0, 0, 0, time.UTC), lines...)
	got := p.AskedBy(engine.Asker{Units: unit.Metric}).Whole("van-1")[0].Meters[0]
	if got.Silent != "2031-02-01" || got.Disputed != 0 {
		t.Errorf("silent since %q, %d in doubt", got.Silent, got.Disputed)
	}
}
