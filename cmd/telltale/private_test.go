package main

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/table"
	"telltale/notify/people"
	"telltale/notify/preview"
)

// household is a year of three private cars, kept in a notebook that was typed in late:
// see the tables in testdata/private.
type household struct {
	folder, zone, units string
	cars                []string
}

var households = []household{
	{"uk", "Europe/London", "mi,L", []string{"estate", "hatch", "roadster"}},
	{"us", "America/Chicago", "mi,qt", []string{"minivan", "pickup", "sedan"}},
}

// TestQuietForPrivateCars counts what the keeper of a household is told in its year, by
// the folder that telltale init makes, and names what was overdue, and why. Somebody who
// keeps one of its cars alone is told twice a month at most, and twelve times in the year.
func TestQuietForPrivateCars(t *testing.T) {
	t.Parallel()
	for _, h := range households {
		t.Run(h.folder, func(t *testing.T) {
			t.Parallel()
			dir := filepath.Join("testdata/private", h.folder)
			y := h.year(t, dir)
			got := y.counts(t) + "\n" + y.overdue(t)
			path := filepath.Join(dir, "told.txt")
			if *update {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if want, err := os.ReadFile(path); err != nil || got != string(want) {
				t.Errorf("%s is stale (%v; write it anew with -update); it should say:\n%s", path, err, got)
			}
		})
	}
}

// privateYear is a household's year, ready to be folded.
type privateYear struct {
	household
	fleet  string // the folder
	config preview.Config
	events []event.Event
}

// year makes the folder as a person would, and reads the notebook.
func (h household) year(t *testing.T, dir string) *privateYear {
	t.Helper()
	fleet := filepath.Join(t.TempDir(), "fleet")
	var said bytes.Buffer
	args := []string{"init", fleet, "--name", "Orla Penhallow", "--mail", "orla@example.org", "--zone", h.zone, "--units", h.units, "--chapters", "all"}
	if code := run(t.Context(), args, strings.NewReader(""), io.Discard, &said); code != 0 {
		t.Fatalf("exit code %d: %s", code, &said)
	}
	y := &privateYear{household: h, fleet: fleet, config: preview.Config{Compose: letters(defaults().Mail.From).Compose}}
	var err [3]error
	y.config.Book, err[0] = cli.Book(filepath.Join(fleet, "rules"))
	y.config.People, err[1] = people.Load(filepath.Join(fleet, "people.yaml"))
	y.config.File, err[2] = ask.File(filepath.Join(dir, "vehicles.yaml"), "2032-01-01")
	for _, err := range err {
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"readings", "work", "oil"} {
		y.events = append(y.events, typedIn(t, filepath.Join(dir, name), table.FleetOf(y.config.File.Register))...)
	}
	y.events = append(y.events, answersIn(t, filepath.Join(dir, "laidup.jsonl"))...)
	slices.SortStableFunc(y.events, func(a, b event.Event) int { return cmp.Or(a.Recorded.Compare(b.Recorded), a.Time.Compare(b.Time)) })
	return y
}

// typedIn reads a table by the mapping of its name.
func typedIn(t *testing.T, name string, fleet *table.Fleet) []event.Event {
	t.Helper()
	text, err := os.ReadFile(name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	m, err := table.ReadMapping(name+".yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	read, err := m.Read(name+".csv", f, fleet)
	if err != nil {
		t.Fatal(err)
	}
	return read.Events
}

// answersIn are the events of a file that may be missing.
func answersIn(t *testing.T, path string) (all []event.Event) {
	t.Helper()
	text, err := os.ReadFile(path)
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	err = intake.ReadFile(bytes.NewReader(text), func(_ int, ev event.Event, err error) error {
		all = append(all, ev)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// of is the year of one car alone; of all where it is "".
func (y *privateYear) of(car string) *privateYear {
	one := *y
	other := func(ev event.Event) bool { return car != "" && ev.Vehicle != car }
	one.events = slices.DeleteFunc(slices.Clone(y.events), other)
	one.config.File.Register = slices.DeleteFunc(slices.Clone(y.config.File.Register), other)
	return &one
}

// lines are the events as a file holds them.
func (y *privateYear) lines(t *testing.T) io.Reader {
	t.Helper()
	var out bytes.Buffer
	for _, ev := range y.events {
		line, err := intake.Encode(ev)
		if err != nil {
			t.Fatal(err)
		}
		out.Write(append(line, '\n'))
	}
	return &out
}

// counts tells how many messages came in each month, to the household and to someone
// who keeps one of its cars, and what the household's were.
func (y *privateYear) counts(t *testing.T) string {
	t.Helper()
	var out, subjects strings.Builder
	fmt.Fprintf(&out, "%-14s %s\n", "messages", "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec year")
	for _, car := range append([]string{""}, y.cars...) {
		one := y.of(car)
		told, err := preview.Run(t.Context(), one.lines(t), one.config)
		if err != nil {
			t.Fatal(err)
		}
		var n [13]int
		for _, m := range told {
			n[m.Time.Month()-1]++
			n[12]++
			if car == "" {
				fmt.Fprintf(&subjects, "%s %s\n", m.Time.Format(time.DateOnly), m.Subject)
			}
		}
		fmt.Fprintf(&out, "%-14s", cmp.Or(car, "all three"))
		for _, n := range n {
			fmt.Fprintf(&out, "%4d", n)
		}
		out.WriteByte('\n')
		if car == "" {
			continue
		}
		if n[12] > 12 || slices.Max(n[:12]) > 2 {
			t.Errorf("who keeps the %s alone is told %d times, %d in one month; want 12 and 2 at most", car, n[12], slices.Max(n[:12]))
		}
	}
	return out.String() + "\n" + subjects.String()
}

// overdue lists what became overdue in the year, and why.
func (y *privateYear) overdue(t *testing.T) string {
	t.Helper()
	var out strings.Builder
	out.WriteString("overdue\n")
	_, err := y.config.File.Fold(y.lines(t), y.config.Book, func(_ event.Event, said []engine.Output) {
		for _, o := range said {
			if o.Refused != nil {
				t.Errorf("refused: %+v", o.Refused)
			}
			if tr := o.Transition; tr != nil && tr.To == alarm.Overdue {
				fmt.Fprintf(&out, "%s %s: %s\n", tr.Time.Format(time.DateOnly), tr.Vehicle, tr.Message)
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return out.String()
}
