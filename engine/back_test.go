package engine_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
)

const goingBack = "data: meter going back"

// backs folds a vehicle that is read every day for two years, by what the odometer shows
// on each day, and gives what was said of its going back.
func backs(t *testing.T, shows func(day int) int, more ...string) (*engine.Partition, []string) {
	t.Helper()
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, dueRules)))
	var said []string
	apply := func(ev event.Event) {
		for _, o := range p.Apply(ev) {
			if tr := o.Transition; tr != nil && tr.Rule == goingBack {
				said = append(said, tr.Time.Format(time.DateOnly)+" "+string(tr.Transition))
			}
		}
	}
	start := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	apply(short(t, "v", `2031-01-01 vehicle van-1 van meter odometer since 2031-01-01`))
	for day := range 730 {
		at := start.AddDate(0, 0, day)
		apply(intake.Tick(at))
		apply(short(t, fmt.Sprint("r-", day), fmt.Sprintf("%s reading van-1 odometer %d", at.Format(time.DateOnly), shows(day))))
		if day%100 == 99 { // the record goes through the store
			text, err := p.Encode("van-1")
			if err != nil {
				t.Fatal(err)
			}
			again := engine.NewPartition()
			again.Restore(p.Now(), load(t, dueRules))
			if err := again.Load("van-1", text); err != nil {
				t.Fatal(err)
			}
			p = again
		}
	}
	for i, line := range more {
		apply(short(t, fmt.Sprint("m-", i), line))
	}
	return p, said
}

// TestGoingBackStands: however many readings come, a meter that went back is told of once
// and stands until somebody says why; so does one wrong reading, though all that it stood
// between were thinned out since.
func TestGoingBackStands(t *testing.T) {
	replaced := func(day int) int {
		if day < 60 {
			return 80_000 + 40*day
		}
		return 40 * (day - 60)
	}
	oneWrong := func(day int) int {
		if day == 60 {
			return 8_240
		}
		return 80_000 + 40*day
	}
	oneTooHigh := func(day int) int {
		if day == 60 {
			return 85_300
		}
		return 80_000 + 40*day
	}
	milesOfAnOldOne := func(day int) int {
		if day < 400 {
			return 100 * day
		}
		return (40_000 + 100*(day-400)) * 1000 / 1609
	}
	const raised = "2031-03-02 raised"
	for _, c := range []struct {
		name  string
		shows func(int) int
		more  []string
		want  []string
	}{
		{"replaced, and nobody said so", replaced, nil, []string{raised}},
		{"and then somebody did", replaced, []string{`2031-03-02 replaced van-1 odometer 82380 0 reported 2033-01-01`}, []string{raised, "2033-01-01 cleared"}},
		{"or accepts the lower readings", replaced, []string{`2033-01-01 answer van-1 accept "data: meter going back" by ines`}, []string{raised, "2033-01-01 cleared"}},
		{"one wrong", oneWrong, nil, []string{raised}},
		{"that is taken out", oneWrong, []string{`2033-01-01 void van-1 r-60`}, []string{raised, "2033-01-01 withdrawn"}},
		{"that somebody knows of", oneWrong, []string{`2033-01-01 answer van-1 acknowledge "data: meter going back" by ines`}, []string{raised, "2033-01-01 acknowledged", "2033-01-01 cleared"}},
		{"one too high", oneTooHigh, nil, []string{"2031-03-03 raised"}},
		{"that is taken out", oneTooHigh, []string{`2033-01-01 void van-1 r-60`}, []string{"2031-03-03 raised", "2033-01-01 withdrawn"}},
		{"miles as kilometres, with a past that they fit", milesOfAnOldOne, nil, []string{"2032-02-05 raised"}},
	} {
		p, said := backs(t, c.shows, c.more...)
		if !slices.Equal(said, c.want) {
			t.Errorf("%s: %v, want %v", c.name, said, c.want)
		}
		stands := slices.ContainsFunc(p.Alarms(), func(l alarm.Listed) bool { return l.Rule == goingBack && l.To != alarm.Normal })
		if stands != (len(c.more) == 0) {
			t.Errorf("%s: stands %t", c.name, stands)
		}
	}
}

// TestAcceptedBackGoesOn: once the lower readings hold, the life's total goes on from
// where the meter went back, though the readings around that are old by now. A due point
// does not move for it.
func TestAcceptedBackGoesOn(t *testing.T) {
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, dueRules)))
	apply := func(id, line string) { p.Apply(short(t, id, line)) }
	start := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	apply("v", `2031-01-01 vehicle van-1 van meter odometer since 2031-01-01`)
	for day := range 300 {
		shows := 80_000 + 40*day
		if day >= 60 {
			shows = 40 * (day - 60)
		}
		apply(fmt.Sprint("r-", day), fmt.Sprintf("%s reading van-1 odometer %d", start.AddDate(0, 0, day).Format(time.DateOnly), shows))
		switch day {
		case 50:
			apply("oil", start.AddDate(0, 0, day).Format(time.DateOnly)+`T12:00 service van-1 "engine oil" odometer 82000`)
		case 70:
			apply("a", start.AddDate(0, 0, day).Format(time.DateOnly)+`T12:00 answer van-1 accept "data: meter going back" by ines why "new cluster"`)
		}
	}
	// The old one ended at 82,360 km, and the oil is due at 92,000 km in all.
	list := slices.DeleteFunc(p.Due(due.Query{Vehicle: "van-1", Ahead: 60}), func(i due.Item) bool { return i.Task != "engine oil" })
	if len(list) != 1 || list[0].DueAt == nil || *list[0].DueAt != 9_640_000 || *list[0].DueInAll != 92_000_000 {
		t.Errorf("%s; want it due at 9,640 km", dueLines(list))
	}
}

// TestDoubtedReplacementStaysDoubted: a value of a replaced instrument that does not fit is
// not believed later either, when the readings that refute it are old, nor does the total
// move on.
func TestDoubtedReplacementStaysDoubted(t *testing.T) {
	start := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, said := range []string{"191000 0", "84000 20000"} {
		p := engine.NewPartition()
		p.Apply(bookEvent(load(t, dueRules)))
		apply := func(id, line string) { p.Apply(short(t, id, line)) }
		apply("v", `2031-01-01 vehicle van-1 van meter odometer since 2031-01-01`)
		apply("oil", `2031-01-01 service van-1 "engine oil" odometer 80000`)
		for day := 1; day < 300; day++ {
			date := start.AddDate(0, 0, day).Format(time.DateOnly)
			switch {
			case day < 100:
				apply(fmt.Sprint("r-", day), fmt.Sprintf("%s reading van-1 odometer %d", date, 80_000+40*day))
			case day == 100:
				apply("m", date+" replaced van-1 odometer "+said)
			default:
				apply(fmt.Sprint("r-", day), fmt.Sprintf("%s reading van-1 odometer %d", date, 30*(day-100)))
			}
		}
		// By the last reading before 83,960 km in all or by what it ended at 84,000 km, and by the first after it 0 or 30.
		list := slices.DeleteFunc(p.Due(due.Query{Vehicle: "van-1", Ahead: 60}), func(i due.Item) bool { return i.Task != "engine oil" })
		if want := map[string]float64{"191000 0": 6_040_000, "84000 20000": 6_030_000}[said]; len(list) != 1 || list[0].DueAt == nil || *list[0].DueAt != want {
			t.Errorf("%s: %s; want it due at %v m", said, dueLines(list), want)
		}
	}
}

// TestRefutedStaysRefuted: a month of miles sent as kilometres is over when the readings
// fit the higher ones again, and is not in doubt once more when those are thinned out. What
// goes on from lower readings and gets beyond the higher ones is told of once, too.
func TestRefutedStaysRefuted(t *testing.T) {
	asMiles := func(day, km int) int {
		if day < 60 || day >= 90 {
			return km
		}
		return km * 1000 / 1609
	}
	usedInstrument := func(day, km int) int {
		if day < 60 {
			return km
		}
		return km - 3000
	}
	for name, shows := range map[string]func(day, km int) int{"miles as kilometres": asMiles, "another instrument": usedInstrument} {
		if got, want := doubts(t, shows), []string{"2031-03-02 engine oil"}; !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}

// doubts are what is told of a vehicle that runs 100 km a day: that a distance cannot be
// told, and that a reading is implausible.
func doubts(t *testing.T, shows func(day, km int) int) (said []string) {
	t.Helper()
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, dueRules)))
	start := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	apply := func(id, line string) {
		for _, o := range p.Apply(short(t, id, line)) {
			tr := o.Transition
			if tr != nil && (tr.Rule == "data: implausible reading" || tr.Due != nil && tr.Due.Untold != "") {
				said = append(said, tr.Time.Format(time.DateOnly)+" "+tr.Rule)
			}
		}
	}
	apply("v", `2031-01-01 vehicle van-1 van meter odometer since 2025-01-01`)
	apply("oil", `2031-01-02 service van-1 "engine oil" odometer 100100`)
	for day := 2; day < 300; day++ {
		apply(fmt.Sprint("r-", day), fmt.Sprintf("%s reading van-1 odometer %d", start.AddDate(0, 0, day).Format(time.DateOnly), shows(day, 100_000+100*day)))
	}
	return said
}
