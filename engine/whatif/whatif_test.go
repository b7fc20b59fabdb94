package whatif_test

import (
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/engine/whatif"
	"telltale/rules"
	"telltale/rules/unit"
)

func book(t testing.TB, text string) *rules.Book {
	t.Helper()
	b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(text)}})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// file writes events in short form as the lines of a file.
func file(t *testing.T, lines ...string) io.Reader {
	t.Helper()
	var b strings.Builder
	for i, line := range lines {
		ev, err := intake.Short(line, fmt.Sprint(i), unit.System{Distance: "km", Volume: "L"})
		if err != nil {
			t.Fatal(err)
		}
		text, err := intake.Encode(ev)
		if err != nil {
			t.Fatal(err)
		}
		b.Write(text)
		b.WriteByte('\n')
	}
	return strings.NewReader(b.String())
}

const older = `book: 1
rules:
  copper: {on: sample, measure: value("Cu"), above: {advisory: 40, caution: 80}}
  iron: {on: sample, measure: value("Fe"), above: {caution: 100}}
  lead: {on: sample, measure: value("Pb"), above: {caution: 10}}
  water, as it was called: {on: sample, measure: value("water"), above: {caution: 1}}
`

const newer = `book: 1
rules:
  copper: {on: sample, measure: value("Cu"), above: {advisory: 60, caution: 70}}
  iron: {on: sample, measure: value("Fe"), above: {caution: 50}}
  tin: {on: sample, measure: value("Sn"), above: {caution: 10}}
  water: {was: "water, as it was called", on: sample, measure: value("water"), above: {caution: 1}}
`

var lines = []string{
	"2031-01-01 vehicle v van component gearbox gearbox",
	"2031-01-01 vehicle w van component gearbox gearbox",
	"2031-01-10 sample v gearbox Cu 45 Fe 60 Pb 20 Sn 1 water 2",
	"2031-02-10 sample v gearbox Cu 75 Fe 120 Pb 1 Sn 1 water 2",
	"2031-03-10 sample v gearbox Cu 10 Fe 10 Pb 1 Sn 20 water 0",
	"2031-03-20 sample w gearbox Cu 50 Fe 10 Pb 1 Sn 1 water 0",
	"2031-04-01 sample w gearbox Cu 90 Fe 10 Pb 1 Sn 1 water 0",
	"2031-04-11 sample w gearbox Cu 75 Fe 10 Pb 1 Sn 1 water 0",
}

func run(t testing.TB, cfg whatif.Config, r io.Reader) ([]string, *whatif.Report, error) {
	t.Helper()
	var got []string
	cfg.Each = func(d whatif.Difference) error {
		day := func(t time.Time) string {
			if t.IsZero() {
				return "never"
			}
			return t.Format("01-02")
		}
		got = append(got, fmt.Sprintf("%s %s: %s, %s %s, was %s %s", d.Vehicle, d.Rule, d.Difference, day(d.NewRaised), d.NewStage, day(d.OldRaised), d.OldStage))
		return nil
	}
	report, err := whatif.Run(cfg, r)
	return got, report, err
}

// What differs, worked out by hand: copper of v is raised later and worse (75 is a
// caution only by the new limits, but the first difference named is the time), iron
// earlier, lead by the old book alone, tin by the new alone; the rule that
// was renamed is the same one.
func TestDifferences(t *testing.T) {
	got, report, err := run(t, whatif.Config{Old: book(t, older), New: book(t, newer)}, file(t, lines...))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"v lead: only old, never , was 01-10 caution",
		"v copper: later, 02-10 caution, was 01-10 advisory",
		"v iron: earlier, 01-10 caution, was 02-10 caution",
		"v tin: only new, 03-10 caution, was never ",
		"w copper: later, 04-01 caution, was 03-20 caution",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if report.Vehicles != 2 || report.Events != len(lines) || report.Months != 100./30 {
		t.Errorf("%+v", report)
	}
	// 2 vehicles for 100 days: 1 alarm is 1 / (2/100 × 100/30) = 15 a 100 vehicles a month.
	i := slices.IndexFunc(report.Rules, func(n whatif.Count) bool { return n.Rule == "copper" })
	count := whatif.Count{Rule: "copper", Raised: [2]int{2, 2}, Transitions: [2]int{5, 3}, Per100: [2]float64{30, 30}, Differences: map[string]int{"later": 2}}
	if got := report.Rules[i]; fmt.Sprintf("%.6f", got.Per100) != fmt.Sprintf("%.6f", count.Per100) {
		t.Errorf("%+v", got)
	} else if got.Per100 = count.Per100; !reflect.DeepEqual(got, count) {
		t.Errorf("got %+v, want %+v", got, count)
	}
}

// A book against itself differs in nothing; each person hears the same by both.
func TestSame(t *testing.T) {
	cfg := whatif.Config{Old: book(t, older), New: book(t, older), File: replay.File{Until: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC)}}
	cfg.Hears = func(p *engine.Partition, out []engine.Output) []string {
		var people []string
		for _, o := range out {
			if o.Transition != nil {
				people = append(people, p.Registered(o.Transition.Vehicle).Kind+" driver")
			}
		}
		return people
	}
	got, report, err := run(t, cfg, file(t, lines...))
	if err != nil || len(got) > 0 {
		t.Errorf("%v (%v)", got, err)
	}
	if n := report.People["van driver"]; n[whatif.Old] == 0 || n[whatif.Old] != n[whatif.New] {
		t.Errorf("%v", report.People)
	}
	if report.Months != 151./30 {
		t.Errorf("%v months", report.Months)
	}
}

// A damaged line is told with its number, and ends the run where it is asked to.
// A rule that pulls a task in makes a difference to the task, not to itself.
func TestPullIn(t *testing.T) {
	const base = `book: 1
tasks:
  oil: {every: {time: 12 months}, unknown history: from in-service date}
rules:
  iron: {on: sample, measure: value("Fe"), above: {caution: 50}`
	cfg := whatif.Config{Old: book(t, base+"}\n"), New: book(t, base+", pull in: {oil: {within: {time: 20 days}}}}\n")}
	got, _, err := run(t, cfg, file(t,
		"2031-01-01 vehicle v van component gearbox gearbox since 2030-12-01",
		"2031-01-10 sample v gearbox Fe 60",
		"2031-02-10 reading v odometer 5 km"))
	want := []string{
		"v oil: only new, 01-10 overdue, was never ",
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %v:\n%s", err, strings.Join(got, "\n"))
	}
}

func TestDamaged(t *testing.T) {
	text := func() io.Reader {
		return io.MultiReader(file(t, lines[:3]...), strings.NewReader("not json\n"), file(t, lines[3:]...))
	}
	cfg := whatif.Config{Old: book(t, older), New: book(t, newer)}
	var at []int
	cfg.File.Damaged = func(line int, _ error) error { at = append(at, line); return nil }
	got, report, err := run(t, cfg, text())
	if err != nil || !slices.Equal(at, []int{4}) || report.Damaged != 1 || len(got) != 5 {
		t.Errorf("%v, lines %v, %+v (%v)", got, at, report, err)
	}
	stop := errors.New("enough")
	cfg.File.Damaged = func(int, error) error { return stop }
	if _, _, err := run(t, cfg, text()); err != stop {
		t.Errorf("%v, want %v", err, stop)
	}
	cfg.Each = func(whatif.Difference) error { return stop }
	cfg.File.Damaged = func(int, error) error { return nil }
	if _, err := whatif.Run(cfg, text()); err != stop {
		t.Errorf("%v, want %v", err, stop)
	}
}

// year is a year of readings, one a vehicle and day, as a file that is made while
// it is read.
type year struct {
	vehicles, next int
	buf            []byte
	at             int
}

func (y *year) Read(b []byte) (int, error) {
	if y.at == len(y.buf) {
		y.buf, y.at = y.buf[:0], 0
		for len(y.buf) < 64<<10 && y.next < y.vehicles*366 {
			y.line()
			y.next++
		}
		if len(y.buf) == 0 {
			return 0, io.EOF
		}
	}
	n := copy(b, y.buf[y.at:])
	y.at += n
	return n, nil
}

func (y *year) line() {
	day, v := y.next/y.vehicles, y.next%y.vehicles
	at := time.Date(2031, 1, 1, 6, 0, 0, 0, time.UTC).AddDate(0, 0, day).Add(time.Duration(v%3600) * time.Second).Format(time.RFC3339)
	if day == 0 {
		y.buf = fmt.Appendf(y.buf, `{"specversion":"1.0","type":"telltale.vehicle.v1","source":"/register","id":"v%d","subject":"v%d","time":"%s","data":{"name":"v%d","kind":"van","meters":[{"name":"odometer","kind":"distance"}],"components":[{"name":"engine","kind":"diesel engine"}]}}`+"\n", v, v, at, v)
		return
	}
	y.buf = fmt.Appendf(y.buf, `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r%d","subject":"v%d","time":"%s","data":{"meter":"odometer","value":%d,"unit":"km"}}`+"\n", y.next, v, at, 1000*(v%50)+day*(60+v%90))
}

// BenchmarkWhatIf folds a year of a fleet, a reading a vehicle and day, by two books.
func BenchmarkWhatIf(b *testing.B) {
	const text = `book: 1
tasks:
  engine oil: {where: component.kind == "diesel engine", every: {distance: %d km, time: 12 months}, early: {distance: 1500 km, time: 21 days}, tolerance: 10%%, unknown history: from first reading}
  safety inspection: {every: {time: 10 weeks}, early: {time: 14 days}, unknown history: from first reading}
rules:
  copper: {on: sample, where: component.kind == "diesel engine", measure: value("Cu"), above: {caution: 30}}
`
	older, newer := book(b, fmt.Sprintf(text, 20000)), book(b, fmt.Sprintf(text, 15000))
	for _, vehicles := range []int{100, 1000, 10000} {
		b.Run(fmt.Sprintf("vehicles=%d", vehicles), func(b *testing.B) {
			events := 0
			for b.Loop() {
				_, report, err := run(b, whatif.Config{Old: older, New: newer}, &year{vehicles: vehicles})
				if err != nil || report.Vehicles != vehicles {
					b.Fatal(report, err)
				}
				events += report.Events
			}
			b.ReportMetric(float64(events)/b.Elapsed().Seconds(), "events/s")
		})
	}
}
