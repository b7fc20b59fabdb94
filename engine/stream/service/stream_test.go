package service

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/share"
	"telltale/engine/stream/wire"
	"telltale/rules"
)

const bookText = `book: 1
units: {distance: km, volume: L}
tasks:
  oil:
    title: Change the oil
    every: {distance: 1000 km}
    early: {distance: 100 km}
    tolerance: 10%
    unknown history: from first reading
`

var start = time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)

// quiet are settings that suit a test: the events lie years ahead.
var quiet = Config{Program: "test", ClockFollowsEvents: true, Flush: time.Hour}

func open(t *testing.T, srv *server.Server) *stream.Log {
	t.Helper()
	l, err := stream.Open(t.Context(), srv.Conn(), stream.LogConfig{Patience: 2 * time.Second, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func run(t *testing.T, l *stream.Log, cfg Config) *Service {
	t.Helper()
	s, err := Start(t.Context(), l, cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Stop() })
	return s
}

func stop(t *testing.T, s *Service) {
	t.Helper()
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
}

// kill ends a service as a crash would: nothing is written down any more.
func kill(t *testing.T, s *Service) {
	t.Helper()
	s.cancel(share.ErrCrashed)
	stop(t, s)
}

func caughtUp(t *testing.T, s *Service) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if err := s.CaughtUp(ctx); err != nil {
		t.Fatal(err)
	}
}

func adopt(t *testing.T, l *stream.Log, text string) *rules.Book {
	t.Helper()
	files := []rules.File{{Name: "oil.yaml", Text: []byte(text)}}
	b, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.PublishBook(t.Context(), start, b, files); err != nil {
		t.Fatal(err)
	}
	return b
}

func vehicle(name string) event.Event {
	return reported(name, "register", event.VehicleEvent, start, &event.VehicleData{
		Name: "Vehicle " + name, Kind: "minibus", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}},
	})
}

// reading is that of the n-th day.
func reading(name string, n int, km float64) event.Event {
	return reported(name, fmt.Sprintf("r-%d", n), event.ReadingEvent, start.AddDate(0, 0, n),
		&event.ReadingData{Meter: "odometer", Value: km, Unit: "km"})
}

func reported(vehicle, id string, k event.Kind, at time.Time, data any) event.Event {
	return event.Event{ID: event.ID{Source: "/test/" + vehicle, ID: id}, Kind: k, Vehicle: vehicle, Time: at, Recorded: at, Data: data}
}

func send(t *testing.T, l *stream.Log, evs ...event.Event) {
	t.Helper()
	for _, ev := range evs {
		if err := l.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
}

// raw publishes what need not be an event.
func raw(t *testing.T, l *stream.Log, subject, text string) {
	t.Helper()
	if _, err := l.JS.Publish(t.Context(), subject, []byte(text)); err != nil {
		t.Fatal(err)
	}
}

// published is all that was published so far.
func published(t *testing.T, l *stream.Log) []wire.Message {
	t.Helper()
	last, err := l.LastOutput(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var out []wire.Message
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	l.Outputs(ctx, 1, func(m wire.Message) error {
		out = append(out, m)
		if m.Seq == last {
			cancel()
		}
		return nil
	})
	return out
}

// saidLines is all that was published so far, a line an output, by vehicle.
func saidLines(t *testing.T, l *stream.Log) []string {
	t.Helper()
	lines := linesOf(published(t, l))
	sortByVehicle(lines)
	return lines
}

func linesOf(all []wire.Message) (lines []string) {
	for _, m := range all {
		for _, o := range m.Outputs {
			lines = append(lines, line(o))
		}
	}
	return lines
}

func sortByVehicle(lines []string) {
	slices.SortStableFunc(lines, func(a, b string) int {
		return strings.Compare(strings.Fields(a)[0], strings.Fields(b)[0])
	})
}

func line(o engine.Output) string {
	switch {
	case o.Transition != nil:
		t := o.Transition
		return fmt.Sprintf("%s %s %s to %s", t.Vehicle, t.Rule, t.Transition, t.To)
	case o.Refused != nil:
		return fmt.Sprintf("%s refused: %s", o.Refused.Vehicle, o.Refused.Refused)
	case o.Turn != nil:
		return fmt.Sprintf("turn %s %s: %d items of %d vehicles", o.Turn.Digest, o.Turn.Date, len(o.Turn.Items), o.Turn.Vehicles)
	}
	return "?"
}

func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s:\n  %s\nwant:\n  %s", what, strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

func TestEventsToOutputs(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, quiet)
	adopt(t, l, bookText)
	send(t, l, vehicle("a"), vehicle("b"), reading("a", 1, 5000), reading("b", 1, 70))
	raw(t, l, "telltale.in.a.reading", `{"nonsense"`)
	raw(t, l, "telltale.in.b.reading", `{}`)
	send(t, l, reading("a", 20, 5950), reading("a", 22, 6010), reading("a", 25, 6100), reading("a", 26, 6101))
	caughtUp(t, s)
	same(t, "said", saidLines(t, l), []string{
		"a refused: not JSON: it ends too early",
		"a oil raised to soon",
		"a oil worsened to due",
		"a oil worsened to overdue",
		"b refused: specversion: missing; every CloudEvent has one",
	})
}

// complete passes on a list from all partitions; one that lacks some ends the test.
func complete[T any](t *testing.T, list T, err error) T {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func standings(t *testing.T, s *Service) []alarm.Listed {
	t.Helper()
	list, err := Alarms.Of(t.Context(), s, Question{})
	return complete(t, list, err)
}

func dueList(t *testing.T, s *Service) []due.Item {
	t.Helper()
	list, err := Due.Of(t.Context(), s, Question{})
	return complete(t, list, err)
}

func unregistered(t *testing.T, s *Service) []string {
	t.Helper()
	list, err := Unregistered.Of(t.Context(), s, Question{})
	return complete(t, list, err)
}
