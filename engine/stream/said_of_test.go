package stream

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/history"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// sayOf has the partition of bus-0 say some outputs of several vehicles as of one event.
func sayOf(t *testing.T, l *Log, f *rand.Rand, event int, vehicles int) {
	t.Helper()
	var out []engine.Output
	for i := range f.Uint64() % 4 {
		v := fmt.Sprintf("bus-%d", f.Uint64()%uint64(vehicles))
		switch what := fmt.Sprintf("%d of event %d", i, event); f.Uint64() % 3 {
		case 0:
			out = append(out, engine.Output{Refused: &alarm.Refusal{Refused: what, Vehicle: v, Time: start}})
		case 1: // it has another name by now
			out = append(out, engine.Output{Transition: &alarm.Transition{Vehicle: v + " now", First: v, Rule: what, Time: start}})
		default:
			out = append(out, engine.Output{Transition: &alarm.Transition{Vehicle: v, Rule: what, Time: start}}, turn(1, 1, 1))
		}
	}
	list, err := wire.Messages(1, uint64(event), out)
	for _, b := range list {
		m, err := wire.AlarmMsg(b, start)
		if err != nil {
			t.Fatal(err)
		}
		m.Subject = wire.AlarmSubject(Partition("bus-0"))
		if err := l.Alarms.Store(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	if err != nil {
		t.Fatal(err)
	}
}

// slowPast reads all that the partition said, as a program did that knew no SAID.
func slowPast(t *testing.T, l *Log, names []string) (past history.Past) {
	t.Helper()
	err := l.EachOutput(t.Context(), 1, wire.AlarmSubject(Partition(names[0])), func(_ wire.Message, o engine.Output) error {
		switch {
		case o.Transition != nil && o.Transition.Home() == names[0]:
			past.Transitions = append(past.Transitions, *o.Transition)
		case o.Refused != nil && slices.Contains(names, o.Refused.Vehicle):
			past.Refused = append(past.Refused, *o.Refused)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return past
}

// samePast compares the past of some vehicles with that.
func samePast(t *testing.T, l *Log, when string) {
	t.Helper()
	for _, names := range [][]string{{"bus-0"}, {"bus-0", "bus-3"}} {
		past, err := l.Past(t.Context(), names)
		if want := slowPast(t, l, names); err != nil || !reflect.DeepEqual(past, want) {
			t.Errorf("%s, of %q: %d transitions and %d refusals (%v), want %d and %d", when, names,
				len(past.Transitions), len(past.Refused), err, len(want.Transitions), len(want.Refused))
		}
	}
}

// keep puts what is said by vehicle until stop, or until all is there.
func keep(t *testing.T, l *Log) (stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan bool)
	go func() { l.KeepSaid(ctx); close(done) }()
	return func() { cancel(); <-done }
}

// keepAll puts by vehicle what was said by now.
func keepAll(t *testing.T, l *Log) {
	t.Helper()
	var want uint64
	err := l.Alarms.Each(t.Context(), 1, "telltale.alarm.*", func(m jetstream.Msg, seq uint64) error {
		list, err := saidIn(m, seq)
		want += uint64(len(list))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	defer keep(t, l)()
	for end := time.Now().Add(20 * time.Second); ; {
		info, err := l.Said.Info(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if info.State.Msgs == want {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d of %d are put by vehicle", info.State.Msgs, want)
		}
	}
}

// TestSaidByVehicle compares pasts with what the partition said while that is put by vehicle by
// two at once, who are stopped and begin again.
func TestSaidByVehicle(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l, other := open(t, srv), open(t, srv)
	samePast(t, l, "before anything was said")
	rng := rand.New(rand.NewPCG(3, 5))
	event := 0
	for round := range 8 {
		stop, stopOther := keep(t, l), func() {}
		if round%3 == 1 {
			stopOther = keep(t, other)
		}
		for range 40 {
			event++
			sayOf(t, l, rng, event, 6)
			if event%9 == 0 {
				samePast(t, l, fmt.Sprint("while event ", event, " is put away"))
			}
		}
		stop()
		stopOther()
		samePast(t, l, fmt.Sprint("after event ", event))
	}
	keepAll(t, l)
	samePast(t, l, "at the end")
}

// TestHistoryCostsByItsOwn takes away what the partition said of all vehicles: what is asked of
// one is read from its own.
func TestHistoryCostsByItsOwn(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	rng := rand.New(rand.NewPCG(3, 5))
	for event := range 300 {
		sayOf(t, l, rng, event, 40)
	}
	keepAll(t, l)
	want := slowPast(t, l, []string{"bus-0"})
	last, err := l.Alarms.LastSeq(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Alarms.Purge(t.Context(), "telltale.alarm.*", last); err != nil {
		t.Fatal(err)
	}
	past, err := l.Past(t.Context(), []string{"bus-0"})
	if err != nil || len(past.Transitions) < 2 || !reflect.DeepEqual(past, want) {
		t.Errorf("%d transitions and %d refusals (%v), want %d and %d", len(past.Transitions), len(past.Refused), err, len(want.Transitions), len(want.Refused))
	}
}

// TestStoreWithoutSaid opens a store of a program that put nothing by vehicle. Its histories are
// whole before that is done, and after.
func TestStoreWithoutSaid(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	rng := rand.New(rand.NewPCG(3, 5))
	for event := range 100 {
		sayOf(t, l, rng, event, 6)
	}
	if err := l.JS.DeleteStream(t.Context(), SaidStream); err != nil {
		t.Fatal(err)
	}
	l = open(t, srv)
	samePast(t, l, "when the store is opened")
	keepAll(t, l)
	samePast(t, l, "when all is put away")
}

// TestSaidGoesOnAfterALARMSWentBack has ALARMS made anew.
func TestSaidGoesOnAfterALARMSWentBack(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	rng := rand.New(rand.NewPCG(3, 5))
	for event := range 60 {
		sayOf(t, l, rng, event, 3)
	}
	keepAll(t, l)
	before := slowPast(t, l, []string{"bus-0"})
	if err := l.JS.DeleteStream(t.Context(), AlarmsStream); err != nil {
		t.Fatal(err)
	}
	l, err := Open(t.Context(), srv.Conn(), LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	for event := range 10 {
		sayOf(t, l, rng, 100+event, 3)
	}
	for _, when := range []string{"before", "after"} {
		past, err := l.Past(t.Context(), []string{"bus-0"})
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range slowPast(t, l, []string{"bus-0"}).Transitions {
			if !slices.ContainsFunc(past.Transitions, func(tr alarm.Transition) bool { return reflect.DeepEqual(tr, want) }) {
				t.Errorf("%s it is put by vehicle, %q is missing", when, want.Rule)
			}
		}
		if len(past.Transitions) > len(before.Transitions)+10 {
			t.Errorf("%d transitions", len(past.Transitions))
		}
		stop := keep(t, l)
		for end := time.Now().Add(20 * time.Second); ; {
			_, at, err := l.saidLast(t.Context())
			if last, _ := l.Alarms.LastSeq(t.Context()); err != nil || at.Seq == last || time.Now().After(end) {
				break
			}
		}
		stop()
	}
}
