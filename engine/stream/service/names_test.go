package service

import (
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// plates are the names that each bus has by turns: its plate was its key.
var plates = regexp.MustCompile(`(bus-[0-9]+)(-[bc])?`)

// under is an event under another name; the same event, as its sender has it.
func under(name string, ev event.Event) event.Event {
	ev.Vehicle = name
	return ev
}

func renamed(name string, day int, was ...string) event.Event {
	ev := vehicle(name)
	ev.ID.ID = fmt.Sprint("register ", day)
	ev.Time = start.AddDate(0, 0, day)
	ev.Recorded = ev.Time
	ev.Data.(*event.VehicleData).Was = was
	return ev
}

// renamedDay is a day on which each bus is read, under the name that called gives, and a
// tick.
func renamedDay(t *testing.T, l *stream.Log, n int, called func(v string, n int) string) {
	t.Helper()
	for i, v := range aFleet() {
		send(t, l, under(called(v, n), reading(v, n, 1000+float64(n*(100+10*i)))))
	}
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, n+1)); err != nil {
		t.Fatal(err)
	}
}

// folded waits until what one partition put into the log for another is folded too.
func folded(t *testing.T, s *Service) {
	t.Helper()
	for range 4 {
		caughtUp(t, s)
	}
}

// TestRenamedInService renames a fleet twice, by ones and by a chain, with gateways that
// are early and late, and ends the service in each way between days. What is said, the
// records and the answers are those of a fleet that kept its names.
func TestRenamedInService(t *testing.T) {
	quick.Beside(t)
	plain := func(v string, _ int) string { return v }
	late := func(v string, n int) string {
		switch {
		case n%3 == 0:
			return v // a gateway that nobody told
		case n == 4 || n > 5 && n < 9:
			return v + "-b" // on day 4 before the register says so
		case n >= 9:
			return v + "-c"
		}
		return v
	}
	want := renamedRun(t, func(*testing.T, *Service) bool { return false }, plain, false)
	if len(want) < 24 {
		t.Fatalf("the days say only %q", want)
	}
	for name, end := range map[string]func(*testing.T, *Service) bool{
		"in one run": func(*testing.T, *Service) bool { return false },
		"stopped":    func(t *testing.T, s *Service) bool { stop(t, s); return true },
		"killed":     func(t *testing.T, s *Service) bool { kill(t, s); return true },
		"killed between records": func(t *testing.T, s *Service) bool {
			withWorkersStopped(t, s, func(w *worker) error {
				for v := range w.dirty {
					return w.writeRecords(t.Context(), []string{v})
				}
				return nil
			})
			return true
		},
	} {
		t.Run(name, func(t *testing.T) { same(t, "said", renamedRun(t, end, late, true), want) })
	}
}

// renamedRun is what is said in the days, with the service ended by end each day.
func renamedRun(t *testing.T, end func(*testing.T, *Service) bool, called func(string, int) string, rename bool) []string {
	t.Helper()
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	for n := 1; n < 16; n++ {
		for _, v := range aFleet() {
			switch {
			case rename && n == 5:
				send(t, l, renamed(v+"-b", n, v))
			case rename && n == 9:
				send(t, l, renamed(v+"-c", n, v+"-b"))
			}
		}
		folded(t, s)
		renamedDay(t, l, n, called)
		if n%2 == 0 {
			folded(t, s)
		}
		if end(t, s) {
			s = run(t, l, quiet)
			folded(t, s)
		}
	}
	folded(t, s)
	if rename {
		renamedAnswers(t, l, s)
	}
	var lines []string
	for _, line := range saidLines(t, l) {
		lines = append(lines, plates.ReplaceAllString(line, "$1"))
	}
	sortByVehicle(lines)
	return lines
}

// renamedAnswers asks under all names, and looks that lists show the present one alone.
func renamedAnswers(t *testing.T, l *stream.Log, s *Service) {
	t.Helper()
	for _, item := range dueList(t, s) {
		if item.Vehicle != item.First+"-c" {
			t.Errorf("the list shows %s, first %s", item.Vehicle, item.First)
		}
	}
	if list := unregistered(t, s); list != nil {
		t.Errorf("not registered: %v", list)
	}
	var of [3][]history.Entry
	for i, name := range []string{"bus-11", "bus-11-b", "bus-11-c"} {
		list, err := History.Of(t.Context(), s, Question{Vehicle: name})
		of[i] = complete(t, list, err)
	}
	if len(of[0]) < 10 || !reflect.DeepEqual(of[0], of[1]) || !reflect.DeepEqual(of[0], of[2]) {
		t.Errorf("histories of %d, %d and %d entries", len(of[0]), len(of[1]), len(of[2]))
	}
	for _, e := range of[0] {
		if e.Vehicle != "bus-11-c" || e.Alarm != nil && e.Alarm.Vehicle != "bus-11-c" {
			t.Errorf("%s: %s", e.Vehicle, e.Text)
		}
	}
	replayed(t, l, s)
}

// replayed folds the log in one partition, and compares the records.
func replayed(t *testing.T, l *stream.Log, s *Service) {
	t.Helper()
	p := engine.NewPartition()
	p.Rename = intake.Renamed
	shelf := stream.NewShelf(l)
	err := l.Events.Each(t.Context(), 1, ">", func(m jetstream.Msg, _ uint64) error {
		ev, err := intake.DecodeMessage(m.Subject(), m.Data())
		if feed.ForAll(m.Subject()) {
			ev, err = intake.DecodeInternal(m.Subject(), m.Data())
		}
		if err != nil {
			return err
		}
		if d, ok := ev.Data.(*event.BookData); ok {
			d.Book, err = shelf.Book(t.Context(), d.Hash)
		}
		p.Apply(ev)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if live, alone := dueList(t, s), p.Due(due.Query{}); !reflect.DeepEqual(live, alone) {
		t.Errorf("due in service %v, replayed %v", live, alone)
	}
	for _, w := range s.here() {
		w.mu.Lock()
		for _, v := range w.fold.Vehicles() {
			live, err := w.fold.Encode(v)
			alone, err2 := p.Encode(v)
			if a, b := differing(factsOf(live), factsOf(alone)); err != nil || err2 != nil || a != b {
				t.Errorf("%s: %v %v\nin service %s\nreplayed   %s", v, err, err2, a, b)
			}
		}
		w.mu.Unlock()
	}
}

// TestRenamedAmongReplicas renames a fleet whose partitions several replicas share, while
// one of them crashes: the two partitions of a vehicle's names need not be one replica's.
func TestRenamedAmongReplicas(t *testing.T) {
	quick.Beside(t)
	plain := func(v string, _ int) string { return v }
	late := func(v string, n int) string {
		if n%2 == 0 && n > 5 {
			return v + "-b"
		}
		return v
	}
	want := renamedRun(t, func(*testing.T, *Service) bool { return false }, plain, false)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	a, b := replica(t, srv), replica(t, srv)
	divided(t, 5*time.Second, a, b)
	begin(t, l)
	for n := 1; n < 16; n++ {
		if n == 5 {
			for _, v := range aFleet() {
				send(t, l, renamed(v+"-b", n, v))
			}
		}
		if n == 7 {
			kill(t, a)
		}
		folded(t, b)
		renamedDay(t, l, n, late)
	}
	folded(t, b)
	var lines []string
	for _, line := range saidLines(t, l) {
		lines = append(lines, plates.ReplaceAllString(line, "$1"))
	}
	sortByVehicle(lines)
	same(t, "said", lines, want)
	for _, name := range []string{"bus-03", "bus-03-b"} {
		list, err := Due.Of(t.Context(), b, Question{Vehicle: name})
		if list = complete(t, list, err); len(list) != 1 || list[0].Vehicle != "bus-03-b" {
			t.Errorf("due of %s: %+v", name, list)
		}
	}
}

// factsOf leaves out of a stored record what hangs on when something was folded, and the
// digests of what was merged.
func factsOf(record []byte) string {
	var all map[string]json.RawMessage
	if err := json.Unmarshal(record, &all); err != nil {
		return err.Error()
	}
	for _, key := range []string{"next", "first", "alarms"} {
		delete(all, key)
	}
	b, _ := json.Marshal(all)
	return regexp.MustCompile(`"d":[0-9]+`).ReplaceAllString(string(b), `"d":0`)
}

// differing are the two texts from shortly before where they differ.
func differing(a, b string) (string, string) {
	i := 0
	for i < min(len(a), len(b)) && a[i] == b[i] {
		i++
	}
	from := max(0, i-200)
	return a[from:min(len(a), i+200)], b[from:min(len(b), i+200)]
}
