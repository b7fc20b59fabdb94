package entry_test

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	"telltale/engine/stream/entry"
	"telltale/engine/stream/service/servicetest"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) { quick.Main(m) }

var start = time.Date(2031, 1, 1, 8, 0, 0, 0, time.UTC)

const oil = `book: 1
units: {distance: km, volume: L}
tasks:
  oil change:
    title: Change the engine oil
    every: {distance: 1000 km}
    early: {distance: 100 km}
    unknown history: from first reading
`

// desk has one registered vehicle whose oil is soon due.
func desk(t *testing.T) entry.Desk {
	t.Helper()
	s, l := servicetest.Start(t, oil, start)
	d := entry.Desk{Service: s, Log: l}
	for _, ev := range []event.Event{
		typed(t, 0, event.VehicleEvent, &event.VehicleData{Name: "Bus 7", Kind: "minibus", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}}),
		typed(t, 0, event.ReadingEvent, &event.ReadingData{Meter: "odometer", Value: 0, Unit: "km"}),
		typed(t, 1, event.ReadingEvent, &event.ReadingData{Meter: "odometer", Value: 950, Unit: "km"}),
	} {
		if err := l.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	return d
}

// typed is what was entered on the n-th day.
func typed(t *testing.T, n int, k event.Kind, data any) event.Event {
	t.Helper()
	at := start.AddDate(0, 0, n)
	ev, err := intake.Checked(event.Event{ID: event.ID{Source: "/people/ines", ID: fmt.Sprintf("%s-%d", k, n)}, Kind: k, Vehicle: "bus-07", Time: at, Recorded: at, Data: data})
	if err != nil {
		t.Fatal(err)
	}
	return ev
}

func enter(t *testing.T, d entry.Desk, ev event.Event) entry.Became {
	t.Helper()
	b, err := d.Enter(t.Context(), []string{"km", "L"}, ev)
	if err != nil || b.Waiting {
		t.Fatalf("%s: %v, waiting %v", ev.ID.ID, err, b.Waiting)
	}
	return b
}

// What is entered is folded when Enter returns, and what followed is said; what was
// refused is not thanked for.
func TestEnter(t *testing.T) {
	d := desk(t)
	seen := &event.AnswerData{Answer: "acknowledge", Rule: "oil change", By: "ines"}
	work := typed(t, 4, event.ServiceEvent, &event.ServiceData{Tasks: []string{"oil change"}})
	for _, c := range []struct {
		name    string
		ev      event.Event
		says    []string
		refused string
		known   bool
	}{
		{"an answer", typed(t, 2, event.AnswerEvent, seen), []string{"oil change: acknowledged, no more reminders"}, "", false},
		{"the same once more, later", typed(t, 3, event.AnswerEvent, seen), []string{"acknowledged: oil change: noted; no alarm changes"},
			`"oil change" is acknowledged already`, false},
		{"work", work, []string{"oil change: due next at 1,950 km"}, "", false},
		{"the same form again", work, []string{"oil change: due next at 1,950 km"}, "", true},
		{"taking the work back", typed(t, 5, event.VoidEvent, (*event.VoidData)(&work.ID)), []string{"oil change: now soon: Change the engine oil: due at 1,000 km, in 50 km; the odometer reads 950 km"}, "", false},
		{"taking it back again", typed(t, 5, event.VoidEvent, (*event.VoidData)(&work.ID)), []string{"recorded; nothing else changes"}, "", true},
	} {
		b := enter(t, d, c.ev)
		refused := ""
		if b.Why != nil {
			refused = b.Why.Refused
		}
		if got := b.Lines(follows.AsWritten); !reflect.DeepEqual(got, c.says) || refused != c.refused || b.Known() != c.known {
			t.Errorf("%s: %q, refused %q, known %v; want %q, %q, %v", c.name, got, refused, b.Known(), c.says, c.refused, c.known)
		}
	}
	if l, err := d.Look(t.Context(), nil, work); err != nil || !l.Entries[0].TakenOut {
		t.Errorf("work that was taken back: %+v, %v", l.Entries, err)
	}
}

// Looking stores nothing.
func TestLook(t *testing.T) {
	d := desk(t)
	before, err := d.Log.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	l, err := d.Look(t.Context(), nil, typed(t, 5, event.ReadingEvent, &event.ReadingData{Meter: "odometer", Value: 99, Unit: "km"}))
	if err != nil || len(l.Doubts()) != 1 {
		t.Errorf("%+v, %v", l, err)
	}
	if after, err := d.Log.LastEvent(t.Context()); after != before || err != nil {
		t.Errorf("the log went from %d to %d, %v", before, after, err)
	}
}

// A form that is sent twice is entered once, whatever the clock shows; one that says
// something else by then is not taken for it.
func TestSentTwice(t *testing.T) {
	d := desk(t)
	first := typed(t, 2, event.ReadingEvent, &event.ReadingData{Meter: "odometer", Value: 960, Unit: "km"})
	enter(t, d, first)
	again, other := first, first
	again.Time, again.Recorded = first.Time.Add(time.Minute), first.Time.Add(time.Minute)
	other.Data = &event.ReadingData{Meter: "odometer", Value: 9600, Unit: "km"}
	if b := enter(t, d, again); b.Why != nil || !b.Known() || !b.Events[0].Time.Equal(first.Time) {
		t.Errorf("sent twice: %+v", b)
	}
	b := enter(t, d, other)
	if b.Why == nil || b.Before == nil || !reflect.DeepEqual(b.Before.Data, first.Data) {
		t.Errorf("changed and sent again: %+v", b)
	}
}
