package whatif_test

import (
	"errors"
	"fmt"
	"iter"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/engine/whatif"
	"telltale/rules/unit"
)

// eventsOf are the events of one vehicle, as the log has them.
func eventsOf(t testing.TB, vehicle string, lines ...string) iter.Seq2[event.Event, error] {
	return func(yield func(event.Event, error) bool) {
		for i, line := range lines {
			ev, err := intake.Short(line, fmt.Sprint(i), unit.System{Distance: "km", Volume: "L"})
			if err != nil {
				t.Fatal(err)
			}
			if ev.Vehicle == vehicle && !yield(ev, nil) {
				return
			}
		}
	}
}

func day(month time.Month, day int) time.Time {
	return time.Date(2031, month, day, 0, 0, 0, 0, time.UTC)
}

// Vehicle by vehicle it comes to the same as a whole file at once: the differences, and what
// each book raised.
func TestTrialAsRun(t *testing.T) {
	oil := func(every string) string {
		return "tasks:\n  oil: {every: {distance: " + every + "}, early: {distance: 100 km}, unknown history: from first reading}\n"
	}
	more := slices.Concat(lines, []string{"2031-04-12 reading v odometer 100 km", "2031-04-13 reading w odometer 100 km", "2031-05-01 reading v odometer 950 km", "2031-05-02 reading w odometer 1300 km"})
	for i := range 2 {
		more[i] += " meter odometer"
	}
	cfg := whatif.Config{Old: book(t, older+oil("1000 km")), New: book(t, newer+oil("800 km")), File: replay.File{Until: day(6, 1)}}
	cfg.File.Own.Baselines = true
	var want []whatif.Difference
	cfg.Each = func(d whatif.Difference) error {
		want = append(want, d)
		return nil
	}
	report, err := whatif.Run(cfg, file(t, more...))
	if err != nil || len(want) < 6 {
		t.Fatalf("%d differences (%v)", len(want), err)
	}
	trial := &whatif.Trial{Old: cfg.Old, New: cfg.New, Until: day(6, 1)}
	for _, v := range []string{"v", "w"} {
		if err := trial.Vehicle(eventsOf(t, v, more...)); err != nil {
			t.Fatal(err)
		}
	}
	by := func(a, b whatif.Difference) int {
		return strings.Compare(fmt.Sprint(a.Vehicle, a.Rule, a.OldRaised, a.NewRaised), fmt.Sprint(b.Vehicle, b.Rule, b.OldRaised, b.NewRaised))
	}
	slices.SortFunc(want, by)
	slices.SortFunc(trial.Differences, by)
	if !reflect.DeepEqual(trial.Differences, want) || trial.More != 0 {
		t.Errorf("got\n%+v\nwant\n%+v", trial.Differences, want)
	}
	if trial.Vehicles != report.Vehicles || trial.Events != report.Events {
		t.Errorf("%d vehicles, %d events; want %d, %d", trial.Vehicles, trial.Events, report.Vehicles, report.Events)
	}
	have := map[string][2]int{}
	for _, n := range trial.Rules() {
		have[n.Rule] = n.Raised
	}
	for _, n := range report.Rules {
		if n.Raised != have[n.Rule] {
			t.Errorf("%s was raised %v, want %v", n.Rule, have[n.Rule], n.Raised)
		}
	}
	due := []whatif.DueCount{{DueChange: whatif.DueChange{Task: "oil", To: alarm.Overdue}, Vehicles: 1}}
	if got := trial.Due(); !reflect.DeepEqual(got, due) {
		t.Errorf("due is %+v, want %+v", got, due)
	}
}

// From a day on counts what was raised since, and what stands by one of the books alone; of
// events that end with an error nothing counts.
func TestTrialSince(t *testing.T) {
	trial := &whatif.Trial{Old: book(t, older), New: book(t, newer), Since: day(3, 1), Until: day(4, 12)}
	for _, v := range []string{"v", "w"} {
		if err := trial.Vehicle(eventsOf(t, v, lines...)); err != nil {
			t.Fatal(err)
		}
	}
	var got []string
	for _, d := range trial.Differences {
		got = append(got, d.Vehicle+" "+d.Rule+": "+d.Difference)
	}
	if want := []string{"v tin: only new", "w copper: later"}; !slices.Equal(got, want) {
		t.Errorf("differs %q, want %q", got, want)
	}
	want := []whatif.Count{{Rule: "copper", Raised: [2]int{1, 1}, Differences: map[string]int{"later": 1}}, {Rule: "tin", Raised: [2]int{0, 1}, Differences: map[string]int{"only new": 1}}}
	if got := trial.Rules(); !reflect.DeepEqual(got, want) {
		t.Errorf("rules %+v, want %+v", got, want)
	}
	stop := errors.New("enough")
	err := trial.Vehicle(func(yield func(event.Event, error) bool) {
		for ev := range eventsOf(t, "v", lines...) {
			if !yield(ev, nil) {
				return
			}
		}
		yield(event.Event{}, stop)
	})
	if !errors.Is(err, stop) || trial.Vehicles != 2 || len(trial.Differences) != 2 {
		t.Errorf("%v; %d vehicles, %d differences", err, trial.Vehicles, len(trial.Differences))
	}
}
