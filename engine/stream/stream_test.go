package stream

import (
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/server"
	"telltale/engine/stream/server/servertest"
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

func open(t *testing.T, srv *server.Server) *Log {
	t.Helper()
	l, err := Open(t.Context(), srv.Conn(), LogConfig{Patience: 2 * time.Second, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// reading is that of the n-th day.
func reading(name string, n int, km float64) event.Event {
	return reported(name, fmt.Sprintf("r-%d", n), event.ReadingEvent, start.AddDate(0, 0, n),
		&event.ReadingData{Meter: "odometer", Value: km, Unit: "km"})
}

func reported(vehicle, id string, k event.Kind, at time.Time, data any) event.Event {
	return event.Event{ID: event.ID{Source: "/test/" + vehicle, ID: id}, Kind: k, Vehicle: vehicle, Time: at, Recorded: at, Data: data}
}

func send(t *testing.T, l *Log, evs ...event.Event) {
	t.Helper()
	for _, ev := range evs {
		if err := l.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
}

// raw publishes what need not be an event.
func raw(t *testing.T, l *Log, subject, text string) {
	t.Helper()
	if _, err := l.JS.Publish(t.Context(), subject, []byte(text)); err != nil {
		t.Fatal(err)
	}
}
func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s:\n  %s\nwant:\n  %s", what, strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

func TestPartitionIsTheServers(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	for i := range 200 {
		v := fmt.Sprintf("bus %d/é", i)
		raw(t, l, "telltale.in."+intake.Token(v)+".reading", "{}")
		m, err := l.Events.Get(t.Context(), uint64(i+1))
		if err != nil {
			t.Fatal(err)
		}
		if want := fmt.Sprintf("telltale.event.%d.%s.reading", Partition(v), intake.Token(v)); m.Subject != want {
			t.Errorf("vehicle %q is stored under %s, want %s", v, m.Subject, want)
		}
	}
}
