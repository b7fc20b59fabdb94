package service

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
)

// TestFeed has one partition take nothing while the others take all there is. They do not
// wait for it, and it misses nothing and gets nothing twice: not of what it reads for
// itself, not of what comes after.
func TestFeed(t *testing.T) {
	l := benchServer(t)
	n := 0
	more := func(events int) {
		fill(t, l, func(yield func(*nats.Msg) bool) {
			for range events {
				if n++; n%100 == 0 && !yield(&nats.Msg{Subject: "telltale.all.tick", Data: []byte("tick")}) {
					return
				}
				if !yield(inMsg(t, reading(fmt.Sprintf("v-%d", n%200), n, float64(n)))) {
					return
				}
			}
		})
	}
	more(8_000)
	const slow = 5
	workers := make([]*worker, stream.Partitions)
	for p := range workers {
		workers[p] = &worker{p: p}
		workers[p].at.Seq = uint64(11 * p) // each has folded some
	}
	f := newFeed(l, workers)
	var wg sync.WaitGroup
	t.Cleanup(wg.Wait)
	wg.Go(func() { f.run(t.Context()) })

	got := make([][]uint64, stream.Partitions)
	take := func(p int, want []uint64) {
		for len(got[p]) < len(want) {
			select {
			case m := <-f.taps[p].msgs:
				meta, err := m.Metadata()
				if err != nil {
					t.Error(err)
					return
				}
				got[p] = append(got[p], meta.Sequence.Stream)
			case err := <-f.taps[p].ended:
				t.Error(p, err)
				return
			}
		}
		if !slices.Equal(got[p], want) {
			t.Errorf("partition %d was given other events than its own, each once and in order", p)
		}
	}
	takeAll := func(but int) {
		want := handedOver(t, l, workers)
		var wg sync.WaitGroup
		for p := range stream.Partitions {
			if p != but {
				wg.Go(func() { take(p, want[p]) })
			}
		}
		wg.Wait()
	}
	takeAll(slow)
	alone := func() bool {
		f.mu.Lock()
		defer f.mu.Unlock()
		return f.taps[slow].alone
	}
	if !alone() {
		t.Fatal("the slow partition is not on its own: the others had to wait for it")
	}
	more(3_000)
	takeAll(slow)
	if b := f.taps[slow].behind(); b < tapRoom {
		t.Errorf("%d events are said to wait for the slow partition", b)
	}
	takeAll(-1)
	for alone() {
		more(10)
		takeAll(-1)
	}
	more(3_000)
	takeAll(-1)
	for _, tap := range f.taps {
		if b := tap.behind(); b != 0 {
			t.Errorf("%d events are said to wait for partition %d, which has all", b, tap.p)
		}
	}
}

// handedOver are the sequences of the events that each worker is to get.
func handedOver(t *testing.T, l *stream.Log, workers []*worker) [][]uint64 {
	t.Helper()
	seqs := make([][]uint64, len(workers))
	err := l.Events.Each(t.Context(), 1, ">", func(m jetstream.Msg, seq uint64) error {
		p := -1
		if !forAll(m) {
			var err error
			if p, err = partitionOf(m.Subject()); err != nil {
				return err
			}
		}
		for _, w := range workers {
			if seq > w.at.Seq && (p < 0 || p == w.p) {
				seqs[w.p] = append(seqs[w.p], seq)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return seqs
}

// TestFeedOfALogThatWentBack tells all partitions, which fold nothing more.
func TestFeedOfALogThatWentBack(t *testing.T) {
	l := benchServer(t)
	fill(t, l, func(yield func(*nats.Msg) bool) { yield(inMsg(t, vehicle("a"))) })
	workers := make([]*worker, stream.Partitions)
	for p := range workers {
		workers[p] = &worker{p: p}
	}
	f := newFeed(l, workers)
	f.at = 1
	f.run(t.Context())
	for _, tap := range f.taps {
		if err := <-tap.ended; !errors.Is(err, ErrWentBack) {
			t.Errorf("partition %d hears %v", tap.p, err)
		}
	}
}

func TestPartitionOf(t *testing.T) {
	for subject, want := range map[string]int{"telltale.event.0.bus.reading": 0, "telltale.event.15.bus.reading": 15} {
		if p, err := partitionOf(subject); p != want || err != nil {
			t.Errorf("%s: %d, %v", subject, p, err)
		}
	}
	for _, subject := range []string{"", "telltale.event.", "telltale.event.x.bus.reading", "telltale.event.16.bus.reading", "telltale.event.-1.bus.reading", "telltale.in.bus.reading"} {
		if p, err := partitionOf(subject); err == nil {
			t.Errorf("%q is said to be of partition %d", subject, p)
		}
	}
}
