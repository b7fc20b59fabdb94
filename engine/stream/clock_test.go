package stream

import (
	"context"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/intake"
)

// TestFollowEvents stops the clock and sets it going again: each midnight that the
// events pass is a tick, once, in order.
func TestFollowEvents(t *testing.T) {
	l := open(t, embed(t, t.TempDir()))
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
		m, err := l.event(t.Context(), seq)
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
	msgs, ended, err := l.read(t.Context(), l.events, 1, engineTick)
	if err != nil {
		t.Fatal(err)
	}
	for {
		select {
		case m := <-msgs:
			if ev, err := intake.DecodeInternal(m.Subject(), m.Data()); err == nil && ev.Kind == engine.TickEvent && !ev.Time.Before(at) {
				return
			}
		case err := <-ended:
			t.Fatal(err)
		}
	}
}

const engineTick = "telltale.all.tick"
