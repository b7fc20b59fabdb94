package service

import (
	"strings"
	"testing"

	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// otherText is bookText with a longer interval, by which less is due.
var otherText = strings.Replace(bookText, "1000 km", "1300 km", 1)

// changing is a fleet's days with a change of the book in the middle, and back near
// the end. at is called where it is to change.
func changing(t *testing.T, l *stream.Log, at func(adopt func())) {
	t.Helper()
	begin(t, l)
	days(t, l, 1, 8)
	at(func() { adopt(t, l, otherText) })
	days(t, l, 8, 12)
	at(func() { adopt(t, l, bookText) })
	days(t, l, 12, 16)
}

// TestAdoptedInRecovery has books adopted while every partition is half way through
// what a killed service had told and not written down. The adoption is folded in its
// place, the partitions crash again, and in the end nothing was told twice or left out,
// and nothing is taken for the doing of another program.
func TestAdoptedInRecovery(t *testing.T) {
	quick.Beside(t)
	whole := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, whole, quiet)
	changing(t, whole, func(adopt func()) { adopt() })
	caughtUp(t, s)
	want := saidLines(t, whole)

	l := open(t, servertest.Embed(t, t.TempDir()))
	changing(t, l, func(adopt func()) {
		s := run(t, l, quiet)
		caughtUp(t, s)
		kill(t, s)
		var goOn []func(uint64)
		for p := range stream.Partitions {
			fold := recovering(t, l, p)
			fold(s.worker(p).at.Seq / 2)
			goOn = append(goOn, fold)
		}
		adopt()
		for p, fold := range goOn {
			end, err := lastOf(t.Context(), l, p)
			if err != nil {
				t.Fatal(err)
			}
			fold(end)
		}
	})
	s = run(t, l, quiet)
	caughtUp(t, s)
	same(t, "said", saidLines(t, l), want)
	for _, m := range published(t, l) {
		if m.Reconciled {
			t.Errorf("reconciled: %+v", m)
		}
	}
}

// recovering makes a partition's next owner, and gives what has it fold on to an event.
// It never writes anything down.
func recovering(t *testing.T, l *stream.Log, p int) (fold func(to uint64)) {
	t.Helper()
	w := newWorker(l, quiet, stream.NewShelf(l), p)
	err := w.load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	msgs, _, err := l.Events.Read(t.Context(), w.at.Seq+1, feed.Subjects(w.p)...)
	if err != nil {
		t.Fatal(err)
	}
	return func(to uint64) {
		for w.at.Seq < to {
			if err := w.take(t.Context(), <-msgs); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestFlipFlop has two replicas put their own book in force again and again, while
// others are killed and begun: each adoption is one event, and what is said is what
// one service says of the same log.
func TestFlipFlop(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	all := []*Service{replica(t, srv), replica(t, srv)}
	begin(t, l)
	for day := range 12 {
		days(t, l, day+1, day+2)
		for _, text := range []string{otherText, bookText} {
			for range 2 { // the second replica finds it in force
				adopt(t, l, text)
			}
		}
		if day%3 == 1 {
			kill(t, all[0])
			all = append(all[1:], replica(t, srv))
		}
	}
	caughtUp(t, all[0])
	if n := count(t, l, "telltale.all.book"); n != 2*12+1 {
		t.Errorf("%d book events, want one a change", n)
	}
	again := open(t, servertest.Embed(t, t.TempDir()))
	copyLog(t, again, l)
	s := run(t, again, quiet)
	caughtUp(t, s)
	want := saidLines(t, again)
	if len(want) < 50 {
		t.Fatalf("the changes say only %q", want)
	}
	same(t, "said", saidLines(t, l), want)
}
