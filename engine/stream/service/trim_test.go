package service

import (
	"math"
	"testing"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// TestTrimSaid takes out what is old. What is still needed stays, and a service that
// goes on with what is left says nothing twice.
func TestTrimSaid(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	trim := func(before time.Time, told, want uint64) {
		t.Helper()
		if n, err := l.TrimSaid(t.Context(), before, told); err != nil || n != want {
			t.Fatalf("%d messages went (%v), want %d", n, err, want)
		}
	}
	later := time.Now().Add(time.Hour)
	trim(later, math.MaxUint64-1, 0) // nothing was said yet
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 10)
	caughtUp(t, s)
	trim(later, math.MaxUint64-1, 0) // without a checkpoint, all is folded again after a crash
	stop(t, s)
	all := published(t, l)
	last := all[len(all)-1].Seq
	got := linesOf(all)
	trim(storedAt(t, l, all[0]), math.MaxUint64-1, 0) // nothing is as old
	half := last / 2
	trim(later, half, half-withLast(all, half))
	trim(later, last, last-stream.Partitions-(half-withLast(all, half)))
	if left := published(t, l); len(left) != stream.Partitions {
		t.Errorf("%d messages are left, want the last of each partition", len(left))
	}
	for range 2 {
		s = run(t, l, quiet)
		kill(t, s)
	}
	s = run(t, l, quiet)
	days(t, l, 10, 20)
	caughtUp(t, s)
	for _, m := range published(t, l) {
		if m.Seq > last {
			got = append(got, linesOf([]wire.Message{m})...)
		}
		if m.Reconciled {
			t.Errorf("reconciled: %+v", m)
		}
	}
	sortByVehicle(got)
	same(t, "said", got, unbroken(t, 20))
}

// withLast counts the messages up to a sequence that are their partition's last.
func withLast(all []wire.Message, upTo uint64) (n uint64) {
	last := map[int]uint64{}
	for _, m := range all {
		last[m.Partition] = m.Seq
	}
	for _, seq := range last {
		if seq <= upTo {
			n++
		}
	}
	return n
}

// storedAt is when the message was stored.
func storedAt(t *testing.T, l *stream.Log, m wire.Message) time.Time {
	t.Helper()
	raw, err := l.Alarms.Get(t.Context(), m.Seq)
	if err != nil {
		t.Fatal(err)
	}
	return raw.Time
}
