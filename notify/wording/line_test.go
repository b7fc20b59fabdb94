package wording

import (
	"reflect"
	"testing"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/page"
	"telltale/notify/people"
)

func TestLines(t *testing.T) {
	p := Reader{Person: people.Anyone("x")}
	at, past := 130_000_000.0, 4_009_000.0
	work := due.Item{Vehicle: "bus-07", Task: "atf", Title: "Renew the fluid", Component: "transmission", Stage: alarm.Overdue, Limit: "distance",
		DueAt: &at, PastBy: &past, Unit: "m", LastDone: "2028-06-01", Statutory: true,
		Needs: []due.Need{{Fluid: "ATF", Volume: 8}, {Part: "filter"}, {Part: "filter", Count: 2}}}
	want := page.Item{What: "Renew the fluid (transmission)", Strong: "This is required by law: check whether the vehicle may be used before it is done.",
		Lines: []page.Line{{Text: "4,009 km past the limit at 130,000 km. Last done 1 Jun 2028."}}}
	if got := p.Work(p.SaidOf(&work), "2031-06-06"); !reflect.DeepEqual(got, want) {
		t.Errorf("work:\n%#v\nwant\n%#v", got, want)
	}
	s := alarm.Listed{Since: time.Date(2031, 5, 9, 8, 0, 0, 0, time.UTC), Transition: alarm.Transition{Vehicle: "bus-03", Component: "transmission", Rule: "copper",
		Title: "Copper over baseline", To: alarm.Warning, Message: "Copper is 5.5 times the baseline", Advise: "Have the pan looked into", Standing: alarm.Unacknowledged}}
	want = page.Item{What: "transmission, Copper over baseline", Strong: "Stop: have this inspected before the vehicle is used again. Have the pan looked into.",
		Lines: []page.Line{{Text: "Copper is 5.5 times the baseline. Since 9 May 2031. Nobody has acknowledged it yet."}}}
	if got := p.Alarm(&s); !reflect.DeepEqual(got, want) {
		t.Errorf("an alarm:\n%#v\nwant\n%#v", got, want)
	}
	later := work
	later.Stage = alarm.Normal
	ready := []page.Line{{Text: "8 L ATF"}, {Text: "3 × filter"}}
	if got := p.Ready([]*due.Item{&work, &later}); !reflect.DeepEqual(got, ready) {
		t.Errorf("have ready: %q, want %q", got, ready)
	}
	if got := p.On([]string{"qt"}).Ready([]*due.Item{&work}); got[0].Text != "8.5 qt ATF" {
		t.Errorf("in quarts: %q", got)
	}
}

func TestGroups(t *testing.T) {
	seen := map[alarm.Stage]bool{}
	for _, g := range Groups {
		if seen[g.Stage] || GroupOf(g.Stage) != g || g.Heading == "" {
			t.Errorf("group %+v", g)
		}
		seen[g.Stage] = true
	}
	for _, s := range append(alarm.TaskStages[:], alarm.RuleStages[:]...) {
		if !seen[s] {
			t.Errorf("%s has no group", s)
		}
	}
}

func TestCounts(t *testing.T) {
	if got := Counts(map[alarm.Stage]int{alarm.Due: 2, alarm.Warning: 1, alarm.Soon: 0}); got != "1 to stop, 2 due" {
		t.Error(got)
	}
	for want, c := range map[string]struct {
		now, before int
		when        string
	}{
		"12 (3 more than on 2 Feb 2031).":     {12, 9, "2 Feb 2031"},
		"1,200 (1 fewer than on 2 Feb 2031).": {1200, 1201, "2 Feb 2031"},
		"4 (no change since 2 Feb 2031).":     {4, 4, "2 Feb 2031"},
		"0.":                                  {0, 0, "2 Feb 2031"},
		"7.":                                  {7, 0, ""},
	} {
		if got := CountSince(c.now, c.before, c.when); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// Work that somebody put off is no more on the list, and is not done.
func TestEndOfWork(t *testing.T) {
	ended := alarm.Transition{Rule: "oil", Task: true, Transition: alarm.Cleared, From: alarm.Overdue, To: alarm.Normal, Due: &alarm.DuePoint{Limit: "time"}}
	if got := EndOf(&ended); got != RecordedDone {
		t.Errorf("done: %q", got)
	}
	ended.Due.Postponed = "postponed by ines: parts on Friday"
	if got, want := EndOf(&ended), "Postponed by ines: parts on Friday. Not due for now."; got != want {
		t.Errorf("postponed: %q, want %q", got, want)
	}
}
