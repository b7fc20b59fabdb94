package service

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// TestTwoOwners starts a second service while the first one runs: the first is
// fenced at its next write, and what was said is what one would have said.
func TestTwoOwners(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 16)
	l := open(t, servertest.Embed(t, t.TempDir()))
	first := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 6)
	second := run(t, l, quiet)
	days(t, l, 6, 16)
	caughtUp(t, second)
	<-first.Done()
	if !errors.Is(first.Err(), jet.ErrFenced) {
		t.Errorf("the first owner ended with %v, want %v", first.Err(), jet.ErrFenced)
	}
	stop(t, second)
	third := run(t, l, quiet)
	caughtUp(t, third)
	same(t, "said", saidLines(t, l), want)
}

// TestZombie has an owner that was replaced write its records and its checkpoint
// late. The newer ones stay, and the older ones do no harm.
func TestZombie(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 16)
	l := open(t, servertest.Embed(t, t.TempDir()))
	first := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 6)
	caughtUp(t, first)
	kill(t, first)
	second := run(t, l, quiet)
	days(t, l, 6, 11)
	for _, w := range first.workers[:stream.Partitions/2] { // before the second has written
		if err := w.flush(t.Context()); err != nil {
			t.Errorf("partition %d: %v", w.p, err)
		}
	}
	caughtUp(t, second)
	stop(t, second)
	for _, w := range first.workers[stream.Partitions/2:] { // and after
		if err := w.flush(t.Context()); !errors.Is(err, jet.ErrFenced) {
			t.Errorf("partition %d: %v, want %v", w.p, err, jet.ErrFenced)
		}
	}
	third := run(t, l, quiet)
	days(t, l, 11, 16)
	caughtUp(t, third)
	same(t, "said", saidLines(t, l), want)
}

// TestCheckpointOfOlderOwnerIsReplaced has an older owner write after this one
// has read.
func TestCheckpointOfOlderOwnerIsReplaced(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	caughtUp(t, s)
	kill(t, s)
	w := s.workers[0]
	old := w.at
	old.Format, old.Seq = wire.Format, 1
	data, err := wire.Marshal(old)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.State.Store(t.Context(), &nats.Msg{Subject: wire.CheckpointSubject(0), Data: data}); err != nil {
		t.Fatal(err)
	}
	if err := w.flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	c, err := w.readCheckpoint(t.Context())
	if err != nil || c.Seq != w.at.Seq {
		t.Errorf("the checkpoint is at %d (%v), want %d", c.Seq, err, w.at.Seq)
	}
}

// TestFuture refuses what happened more than a day after it was stored.
func TestFuture(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	cfg := quiet
	cfg.ClockFollowsEvents = false
	s := run(t, l, cfg)
	v := vehicle("a")
	v.Time, v.Recorded = time.Now().Add(23*time.Hour), time.Now().Add(23*time.Hour)
	r := reading("a", 1, 1000)
	r.Time, r.Recorded = time.Now().Add(25*time.Hour), time.Now().Add(25*time.Hour)
	send(t, l, v, r)
	caughtUp(t, s)
	got := saidLines(t, l)
	if len(got) != 1 || !strings.Contains(got[0], "is more than 24 h later than it was stored") {
		t.Errorf("said %q, want one refusal", got)
	}
}

// TestForged sends internal events as a gateway: under its own subjects they are
// refused, under the service's it has no right to publish.
func TestForged(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, quiet)
	gateway, err := nats.Connect(srv.URL())
	if err != nil {
		t.Fatal(err)
	}
	defer gateway.Close()
	m, err := intake.Encode(intake.Tick(start))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := gateway.Request("telltale.in.a.tick", m, 5*time.Second); err != nil {
		t.Error(err)
	}
	if _, err := gateway.Request("telltale.all.tick", m, 200*time.Millisecond); err == nil {
		t.Error("a gateway's tick was stored")
	}
	caughtUp(t, s)
	if now := s.Health().Now; !now.IsZero() {
		t.Errorf("a gateway moved the clock to %s", now)
	}
	same(t, "said", saidLines(t, l), []string{"a refused: type: only the service itself writes a tick"})
}

// TestMalformedForAll is refused once, not by every partition.
func TestMalformedForAll(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	raw(t, l, "telltale.all.tick", "{}")
	if err := l.PublishTick(t.Context(), start); err != nil {
		t.Fatal(err)
	}
	caughtUp(t, s)
	same(t, "said", saidLines(t, l), []string{" refused: specversion: missing; every CloudEvent has one"})
	if now := s.Health().Now; !now.Equal(start) {
		t.Errorf("now is %s, want %s", now, start)
	}
}

// TestTurn asks all partitions for their part of a list.
func TestTurn(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	for range 2 {
		if err := l.PublishTurn(t.Context(), start, "ines", "2031-01-01", ""); err != nil {
			t.Fatal(err)
		}
	}
	caughtUp(t, s)
	parts, vehicles := map[int]int{}, 0
	last, err := l.LastOutput(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	stopAt := errors.New("read")
	err = l.Outputs(t.Context(), 1, func(m wire.Message) error {
		for _, o := range m.Outputs {
			if o.Turn != nil {
				parts[m.Partition]++
				vehicles += o.Turn.Vehicles
			}
		}
		if m.Seq == last {
			return stopAt
		}
		return nil
	})
	if err != stopAt || len(parts) != stream.Partitions || vehicles != len(aFleet()) {
		t.Errorf("%d parts with %d vehicles (%v), want %d with %d", len(parts), vehicles, err, stream.Partitions, len(aFleet()))
	}
	for p, n := range parts {
		if n != 1 {
			t.Errorf("partition %d answered the turn %d times", p, n)
		}
	}
}
