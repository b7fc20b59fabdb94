package stream

import (
	"context"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// TestFollowEvents stops the clock and sets it going again: each midnight that the
// events pass is a tick, once, in order.
func TestFollowEvents(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	for n := range 10 {
		send(t, l, reading("a", n*2, float64(n)), reading("b", n, float64(n)))
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- l.FollowEvents(ctx) }()
		if n > 0 {
			awaitTick(t, l, start.AddDate(0, 0, n*2))
		}
		cancel()
		<-ended
	}
	var ticks []string
	last, err := l.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for seq := uint64(1); seq <= last; seq++ {
		m, err := l.Events.Get(t.Context(), seq)
		if err != nil {
			t.Fatal(err)
		}
		if m.Subject == "telltale.all.tick" {
			ev, err := intake.DecodeInternal(m.Subject, m.Data)
			if err != nil {
				t.Fatal(err)
			}
			ticks = append(ticks, ev.Time.Format(time.DateOnly))
		}
	}
	var want []string
	for n := 1; n <= 18; n++ {
		want = append(want, start.AddDate(0, 0, n).Format(time.DateOnly))
	}
	same(t, "ticks", ticks, want)
}

// awaitTick waits for a tick to be folded or stored.
func awaitTick(t *testing.T, l *Log, at time.Time) {
	t.Helper()
	msgs, ended, err := l.Events.Read(t.Context(), 1, engineTick)
	if err != nil {
		t.Fatal(err)
	}
	for {
		select {
		case m := <-msgs:
			if ev, err := intake.DecodeInternal(m.Subject(), m.Data()); err == nil && ev.Kind == event.TickEvent && !ev.Time.Before(at) {
				return
			}
		case err := <-ended:
			t.Fatal(err)
		}
	}
}

const engineTick = "telltale.all.tick"

// TestTickOnce publishes ticks as several replicas in turn would, when the server
// has forgotten the identities of those before: each is stored once.
func TestTickOnce(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	cfg := l.Events.S.CachedInfo().Config
	cfg.Duplicates = 100 * time.Millisecond
	if _, err := l.JS.UpdateStream(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		for range 3 {
			if err := l.PublishTick(t.Context(), start.AddDate(0, 0, i)); err != nil {
				t.Fatal(err)
			}
			jet.Rest(t.Context(), 120*time.Millisecond)
		}
	}
	if last, err := l.LastEvent(t.Context()); err != nil || last != 3 {
		t.Errorf("%d ticks are stored (%v), want 3", last, err)
	}
}
