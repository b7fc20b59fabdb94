package service

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/rules/unit"
	"telltale/testdata/quick"
)

const fleetText = `book: 1
baselines:
  engine oil of the fleet:
    where: component.kind == "engine"
    from: fleet
    group by: component.fluid
    at least: {samples: 6, vehicles: 3}
rules:
  iron:
    on: sample
    measure: times("Fe")
    above: {caution: 3}
    say: Iron is ${round(measure, 2)} times what is usual
`

// monthly is the first of the next month.
func monthly(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC)
}

func withEngine(name string) event.Event {
	return reported(name, "register", event.VehicleEvent, start, &event.VehicleData{Name: name, Kind: "bus",
		Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}, Components: []event.ComponentDef{{Name: "motor", Kind: "engine", Fluid: "15W-40"}}})
}

// sampled is a sample with that much iron on the n-th day of the year.
func sampled(name string, n int, fe float64) event.Event {
	id := fmt.Sprintf("s-%d", n)
	return reported(name, id, event.SampleEvent, start.AddDate(0, 0, n), &event.SampleData{Number: id, Component: "motor",
		FluidAge: &unit.Quantity{Value: 9000, Unit: "km"}, Results: []event.ResultData{{Analyte: "Fe", Value: &fe, Unit: "mg/kg"}}})
}

// inForceFrom waits until a set of that number is in force.
func inForceFrom(t *testing.T, l *stream.Log, s *Service, number int) *fleet.Set {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	msgs, ended, err := l.Events.Read(ctx, 1, "telltale.all.baseline")
	if err != nil {
		t.Fatal(err)
	}
	for {
		select {
		case m := <-msgs:
			ev, err := intake.DecodeInternal(m.Subject(), m.Data())
			if err != nil {
				t.Fatal(err)
			}
			d := ev.Data.(*fleet.BaselineData)
			if d.Number < number {
				continue
			}
			set, err := stream.NewShelf(l).Baselines(t.Context(), d.Hash)
			if err != nil {
				t.Fatal(err)
			}
			caughtUp(t, s)
			return set
		case err := <-ended:
			t.Fatal(err)
		}
	}
}

// keep keeps the baselines of the log until the test ends or stop is called.
func keep(t *testing.T, l *stream.Log) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- l.KeepBaselines(ctx, monthly) }()
	stop = func() {
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	}
	return stop
}

func wholeFleet(t *testing.T, l *stream.Log) {
	t.Helper()
	adopt(t, l, fleetText)
	for i := range 6 {
		send(t, l, withEngine(fmt.Sprint("bus-", i)), sampled(fmt.Sprint("bus-", i), 2+i, float64(18+i)))
	}
	send(t, l, reported("bus-9", "late", event.ReadingEvent, start.AddDate(0, 0, 12), &event.ReadingData{Meter: "odometer", Value: 1, Unit: "km"}))
}

// TestFleetBaselines: a tick has the partitions answer with their samples, what is
// made of them judges what comes after it, also after a crash, and the next month's
// set judges what comes after that. Two replicas keep the baselines; each is made once.
func TestFleetBaselines(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	wholeFleet(t, l)
	for range 2 {
		defer keep(t, l)()
	}
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, 13)); err != nil {
		t.Fatal(err)
	}
	set := inForceFrom(t, l, s, 1)
	g := set.Baselines[0].Groups[0]
	if set.Number != 1 || g.Samples != 6 || g.Vehicles != 6 || g.Analytes[0].Mean.High != 20.5 || *g.Age != 9e6 {
		t.Errorf("set: %+v", set)
	}
	send(t, l, sampled("bus-0", 20, 82))
	caughtUp(t, s)
	kill(t, s)
	s = run(t, l, quiet)
	send(t, l, sampled("bus-1", 21, 62))
	caughtUp(t, s)
	if err := l.PublishTick(t.Context(), start.AddDate(0, 1, 0)); err != nil {
		t.Fatal(err)
	}
	second := inForceFrom(t, l, s, 2)
	if m := second.Baselines[0].Groups[0].Analytes[0].Mean.High; m != 33.375 { // 123 and 82 and 62, of 8
		t.Errorf("the second set has the mean %v", m)
	}
	stop(t, s)
	s = run(t, l, quiet)
	send(t, l, sampled("bus-2", 40, 82))
	caughtUp(t, s)
	var got []string
	for _, m := range published(t, l) {
		for _, o := range m.Outputs {
			if o.Transition != nil {
				got = append(got, o.Transition.Vehicle+": "+o.Transition.Message+"; "+o.Transition.Evidence[0].Note)
			}
		}
	}
	same(t, "said", got, []string{
		"bus-0: Iron is 4 times what is usual; baseline engine oil of the fleet, number 1 of 2031-01-14: 6 results of 6 vehicles (15W-40)",
		"bus-1: Iron is 3.02 times what is usual; baseline engine oil of the fleet, number 1 of 2031-01-14: 6 results of 6 vehicles (15W-40)",
	})
	for subject, want := range map[string]int{"telltale.all.survey": 2, "telltale.all.baseline": 2} {
		if n := count(t, l, subject); n != want {
			t.Errorf("%d messages on %s, want %d", n, subject, want)
		}
	}
	if err := l.PublishTick(t.Context(), start.AddDate(0, 1, 1)); err != nil {
		t.Fatal(err)
	}
	caughtUp(t, s)
	if hash, set, err := l.BaselinesInForce(t.Context()); err != nil || hash != second.Hash() || set.Number != 2 {
		t.Errorf("in force: %s, %v, %v", hash, set, err)
	}
}

func count(t *testing.T, l *stream.Log, subject string) int {
	t.Helper()
	n := 0
	if err := l.Events.Each(t.Context(), 1, subject, func(jetstream.Msg, uint64) error { n++; return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}

// A set that is gone from the store stops nobody: it is named, judges nothing, and
// the next one does.
func TestFleetBaselinesGone(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	wholeFleet(t, l)
	defer keep(t, l)()
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, 13)); err != nil {
		t.Fatal(err)
	}
	set := inForceFrom(t, l, s, 1)
	raw(t, l, "telltale.book.baselines."+strings.TrimPrefix(set.Hash(), "sha256:")+".0", "{}")
	if _, _, err := l.BaselinesInForce(t.Context()); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("%q: their text is gone", set.Hash())) {
		t.Errorf("got %v", err)
	}
	stop(t, s)
	s = run(t, l, quiet)
	send(t, l, sampled("bus-0", 20, 82))
	caughtUp(t, s)
	if lines := saidLines(t, l); strings.Contains(strings.Join(lines, "\n"), "iron") {
		t.Errorf("judged by a set that is gone: %q", lines)
	}
	if err := l.PublishTick(t.Context(), start.AddDate(0, 1, 0)); err != nil {
		t.Fatal(err)
	}
	inForceFrom(t, l, s, 2)
	send(t, l, sampled("bus-1", 40, 200))
	caughtUp(t, s)
	if lines := strings.Join(saidLines(t, l), "\n"); !strings.Contains(lines, "bus-1 iron raised to caution") {
		t.Errorf("the next set does not judge: %s", lines)
	}
}
