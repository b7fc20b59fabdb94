package service

import (
	"fmt"
	"maps"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// TestTicksInOrder has the clock go on, and be set back and go on again, before a
// partition that folds each tick as it comes, and before one that was away and finds
// them all at once. Both say the same, each thing at the tick that brought it.
func TestTicksInOrder(t *testing.T) {
	quick.Beside(t)
	wall := quiet
	wall.ClockFollowsEvents = false
	first := time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, -40)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, wall)
	adopt(t, l, timeText)
	at := func(ev event.Event, day int) event.Event {
		ev.Time, ev.Recorded = first.AddDate(0, 0, day), first.AddDate(0, 0, day)
		return ev
	}
	send(t, l, at(vehicle("a"), 0), at(reading("a", 0, 1000), 0))
	tick := func(from, to, hour int) {
		t.Helper()
		for n := from; n <= to; n++ {
			if err := l.PublishTick(t.Context(), first.AddDate(0, 0, n).Add(time.Duration(hour)*time.Hour)); err != nil {
				t.Fatal(err)
			}
			caughtUp(t, s)
		}
	}
	tick(1, 12, 0)
	tick(7, 9, 6) // set back
	send(t, l, at(reading("a", 1, 1100), 9))
	tick(10, 18, 12)
	stop(t, s)

	var said []string
	for _, m := range published(t, l) {
		for _, o := range m.Outputs {
			said = append(said, fmt.Sprintf("day %d: %s", int(o.Transition.Time.Sub(first).Hours()/24), line(o)))
		}
	}
	same(t, "said", said, []string{
		"day 10: a inspection raised to due",
		"day 7: a inspection cleared to normal",
		"day 10: a inspection raised to due",
		"day 16: a inspection worsened to overdue",
	})

	late := open(t, servertest.Embed(t, t.TempDir()))
	copyLog(t, late, l)
	s = run(t, late, wall)
	caughtUp(t, s)
	stop(t, s)
	same(t, "said late", saidInFull(t, late)[stream.Partition("a")], saidInFull(t, l)[stream.Partition("a")])
	if got, want := records(t, late), records(t, l); !maps.Equal(got, want) {
		t.Errorf("the records are\n%s\nwant\n%s", got, want)
	}
}
