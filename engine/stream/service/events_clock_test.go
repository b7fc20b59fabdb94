package service

import (
	"testing"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
)

// TestClockInTheEvents publishes events that are weeks apart all at once. Each is
// judged after the midnights that it passes, as in a file, also after a restart and
// with the log's own ticks far behind.
func TestClockInTheEvents(t *testing.T) {
	follow := quiet
	follow.ClockFollowsEvents = true
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, follow)
	adopt(t, l, timeText)
	early := vehicle("a")
	early.Time, early.Recorded = stream.Unclocked, stream.Unclocked
	send(t, l, early, reading("a", 0, 1000), reading("a", 12, 1100))
	caughtUp(t, s)
	stop(t, s)
	s = run(t, l, follow)
	send(t, l, reading("a", 20, 1200))
	for n := range 20 {
		if err := l.PublishTick(t.Context(), start.AddDate(0, 0, n)); err != nil {
			t.Fatal(err)
		}
	}
	caughtUp(t, s)
	var got []string
	for _, m := range published(t, l) {
		for _, o := range m.Outputs {
			if o.Transition != nil {
				got = append(got, o.Transition.Time.Format("01-02")+" "+line(o))
			}
		}
	}
	day := func(n int) string { return start.AddDate(0, 0, n).Format("01-02") }
	want := []string{day(10) + " a inspection raised to due", day(16) + " a inspection worsened to overdue"}
	same(t, "said", got, want)
	if now := s.Health().Now; !now.Equal(start.AddDate(0, 0, 19)) && !now.Equal(start.AddDate(0, 0, 20)) {
		t.Errorf("the clock stands at %s", now)
	}
}
