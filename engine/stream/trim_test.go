package stream

import (
	"math"
	"testing"
	"time"

	"telltale/engine"
)

// TestTrimSaid takes out what is old. What is still needed stays, and a service that
// goes on with what is left says nothing twice.
func TestTrimSaid(t *testing.T) {
	beside(t)
	l := open(t, embed(t, t.TempDir()))
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
	trim(all[0].at(t, l), math.MaxUint64-1, 0) // nothing is as old
	half := last / 2
	trim(later, half, half-withLast(all, half))
	trim(later, last, last-Partitions-(half-withLast(all, half)))
	if left := published(t, l); len(left) != Partitions {
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
			got = append(got, linesOf([]Message{m})...)
		}
		if m.Reconciled {
			t.Errorf("reconciled: %+v", m)
		}
	}
	sortByVehicle(got)
	same(t, "said", got, unbroken(t, 20))
}

// withLast counts the messages up to a sequence that are their partition's last.
func withLast(all []Message, upTo uint64) (n uint64) {
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

// at is when the message was stored.
func (m *Message) at(t *testing.T, l *Log) time.Time {
	t.Helper()
	raw, err := l.alarms.GetMsg(t.Context(), m.Seq)
	if err != nil {
		t.Fatal(err)
	}
	return raw.Time
}

// TestRefusedWithin lists the refusals among the latest messages alone.
func TestRefusedWithin(t *testing.T) {
	l := open(t, embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	for range 3 {
		raw(t, l, "telltale.in.bus-0.reading", "nonsense")
	}
	caughtUp(t, s)
	for _, tt := range []struct {
		within uint64
		want   int
	}{{0, 0}, {2, 2}, {3, 3}, {refusedWithin, 3}} {
		n := 0
		if err := l.refusedWithin(t.Context(), tt.within, func(engine.Refusal) error { n++; return nil }); err != nil || n != tt.want {
			t.Errorf("of the latest %d messages %d are refusals (%v), want %d", tt.within, n, err, tt.want)
		}
	}
}
