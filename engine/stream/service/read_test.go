package service

import (
	"testing"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/stream/server/servertest"
)

// TestReadersGo asks for a list many times: what read it is gone from the server
// afterwards, which has no room for a thousand.
func TestReadersGo(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	raw(t, l, "telltale.in.bus-03.reading", "{}")
	caughtUp(t, s)
	for range 20 {
		n := 0
		if err := l.Refused(t.Context(), func(alarm.Refusal) error { n++; return nil }); err != nil || n != 1 {
			t.Fatalf("%d refused (%v), want 1", n, err)
		}
	}
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for end := time.Now().Add(20 * time.Second); ; <-tick.C {
		info, err := l.Alarms.Info(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if info.State.Consumers == 0 {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d readers are left, want none", info.State.Consumers)
		}
	}
}
