package chapters_test

import (
	"bytes"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/engine/sample"
	"telltale/rules"
	"telltale/rules/chapters"
	"telltale/rules/chapters/sheets"
)

var (
	update = flag.Bool("update", false, "write the tables of the bench of sheets into testdata")
	// go test ./rules/chapters -run Bench -v -bench-of "quartz dust"
	benchOf = flag.String("bench-of", "", "print each sheet of this cause that is not judged right")
)

// The goals, in per cent of sheets of a fault or of sound ones. Those of faults that are
// judged right (with what says more) and wrong hang on what there is to compare with.
const (
	mostAllClear   = 0.0  // of faults
	mostFalseStops = 1.0  // of sound sheets
	leastQuiet     = 95.0 // of sound sheets
)

// The bench: sheets of known cause, folded as a service folds them, judged by the
// chapters as they are shipped, with what is usual in a fleet of such machines and
// without anything but what the chapters bring.
func TestBenchOfSheets(t *testing.T) {
	for _, bench := range []struct {
		name         string
		book         func(*testing.T) *rules.Book
		right, wrong float64 // the goals
	}{{"fleet", withFleet, 85, 2}, {"alone", asShipped, 70, 3}} {
		t.Run(bench.name, func(t *testing.T) {
			got := benched(t, bench.book(t))
			t.Logf("%d sheets of each cause, %s:\n%s", perCause, bench.name, got.table())
			golden(t, bench.name, got.table())
			reached(t, got, bench.right, bench.wrong)
		})
	}
}

// perCause is how many sheets there are of each cause.
const perCause = 40

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", "bench-"+name+".txt")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(want, []byte(got)) {
		t.Errorf("another table than %s; -update writes it; want:\n%s", path, want)
	}
}

// DEVELOPERS.md shows the sums of both tables.
func TestDevelopersShowTheBench(t *testing.T) {
	read := func(path string) string {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	text := read("../../DEVELOPERS.md")
	for _, name := range []string{"bench-fleet.txt", "bench-alone.txt"} {
		table := read(filepath.Join("testdata", name))
		if sums := table[strings.Index(table, "all faults"):]; !strings.Contains(text, sums) {
			t.Errorf("DEVELOPERS.md is stale; of %s it should show:\n%s", name, sums)
		}
	}
}

// reached holds the table to the goals.
func reached(t *testing.T, got tally, leastRight, mostWrong float64) {
	t.Helper()
	faults, n := got.total(false)
	sound, m := got.total(true)
	share := func(k, n int) float64 { return 100 * float64(k) / float64(n) }
	for _, goal := range []struct {
		what  string
		is    float64
		least bool
		goal  float64
	}{
		{"of faults are judged right", share(faults[right]+faults[more], n), true, leastRight},
		{"of faults are judged wrong", share(faults[wrong], n), false, mostWrong},
		{"of faults are called normal though they are dangerous", share(faults[allClear], n), false, mostAllClear},
		{"of sound sheets raise a warning", share(sound[falseStop], m), false, mostFalseStops},
		{"of sound sheets raise nothing", share(sound[right], m), true, leastQuiet},
	} {
		switch {
		case goal.least && goal.is < goal.goal:
			t.Errorf("%.1f %% %s, want at least %g %%", goal.is, goal.what, goal.goal)
		case !goal.least && goal.is > goal.goal:
			t.Errorf("%.1f %% %s, want at most %g %%", goal.is, goal.what, goal.goal)
		}
	}
}

// asShipped is the book of all chapters, with what is to be filled in left open.
func asShipped(t *testing.T) *rules.Book {
	t.Helper()
	return load(t, "")
}

// withFleet is that book with the baselines of a fleet of such machines before its own.
func withFleet(t *testing.T) *rules.Book {
	t.Helper()
	usual := strings.ReplaceAll(sheets.FleetYAML(), "\n", "\n    ")
	b := load(t, "book: 1\ncases:\n  what is usual:\n    baselines:\n    "+strings.TrimRight(usual, " ")+
		"    given: [2031-01-02 tick]\n    expect: none\n")
	i := slices.IndexFunc(b.Cases, func(c *rules.Case) bool { return c.Name == "what is usual" })
	return b.Cases[i].In(b)
}

func load(t *testing.T, own string) *rules.Book {
	t.Helper()
	var files []rules.File
	for _, c := range chapters.All() {
		files = append(files, rules.File{Name: c.File(), Text: c.Text})
	}
	if own != "" {
		files = append(files, rules.File{Name: "bench.yaml", Text: []byte(own)})
	}
	b, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// benched judges all sheets by the book, on as many cores as there may be.
func benched(t *testing.T, b *rules.Book) tally {
	t.Helper()
	says := readClaims(t, b)
	all := sheets.All(perCause)
	got := make([]outcome, len(all))
	var wg sync.WaitGroup
	const parts = 4
	for k := range parts {
		from, to := k*len(all)/parts, (k+1)*len(all)/parts
		part, got := all[from:to], got[from:to]
		wg.Go(func() {
			for i := range part {
				v, err := verdict(b, &part[i])
				if err != nil {
					t.Errorf("%s %d: %v", part[i].Cause.Name, part[i].Number, err)
					return
				}
				got[i] = says.judgedAs(&part[i], v)
				if part[i].Cause.Name == *benchOf && got[i] != right {
					t.Log(told(&part[i], v, got[i]))
				}
			}
		})
	}
	wg.Wait()
	out := tally{}
	for i := range all {
		out.add(all[i].Cause, got[i])
	}
	return out
}

func verdict(b *rules.Book, s *sheets.Sheet) (*sample.Verdict, error) {
	return lastVerdict(b, s.Vehicle, s.Component, s.Events)
}

// lastVerdict folds what became of a vehicle and reads the last sheet of a component. The
// clock ticks with the events alone: nothing that a sheet is judged by waits for a day
// between.
func lastVerdict(b *rules.Book, vehicle, component string, events []string) (*sample.Verdict, error) {
	p := replay.File{Own: intake.Own{Baselines: true}}.Partition(b)
	for i, line := range events {
		ev, err := intake.Short(line, fmt.Sprintf("e-%d", i+1), b.Units)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", line, err)
		}
		for _, o := range slices.Concat(p.Apply(intake.Tick(ev.Recorded)), p.Apply(ev)) {
			if o.Refused != nil {
				return nil, fmt.Errorf("%s: refused: %s", line, o.Refused.Refused)
			}
		}
	}
	v := p.Verdicts(vehicle, component)
	if len(v) != 1 {
		return nil, fmt.Errorf("%d verdicts, want one", len(v))
	}
	return &v[0], nil
}

// told is a sheet with what was said of it, for people.
func told(s *sheets.Sheet, v *sample.Verdict, o outcome) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s %d (%s): %s\n", s.Cause.Name, s.Number, s.Machine, outcomeNames[o])
	for _, line := range s.Events {
		b.WriteString("    " + line + "\n")
	}
	b.WriteString("  " + v.Summary + "\n")
	for _, r := range v.Reasons {
		fmt.Fprintf(&b, "  %s, %s: %s\n", r.Rule, r.Stage, r.Message)
	}
	missing := map[string]bool{}
	for _, u := range v.NotJudged {
		for _, m := range u.Missing {
			missing[m] = true
		}
	}
	if len(missing) > 0 {
		fmt.Fprintf(&b, "  not judged for want of: %s\n", strings.Join(slices.Sorted(maps.Keys(missing)), "; "))
	}
	return b.String()
}
