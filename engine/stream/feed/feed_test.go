package feed

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
)

// TestFeed has one partition take nothing while the others take all there is. They do not
// wait for it, and it misses nothing and gets nothing twice: not of what it reads for
// itself, not of what comes after.
func TestFeed(t *testing.T) {
	l := open(t)
	n := 0
	more := func(events int) {
		fill(t, l, func(yield func(*nats.Msg) bool) {
			for range events {
				if n++; n%100 == 0 && !yield(&nats.Msg{Subject: "telltale.all.tick", Data: []byte("tick")}) {
					return
				}
				if !yield(&nats.Msg{Subject: fmt.Sprintf("telltale.in.v-%d.reading", n%200), Data: []byte("read")}) {
					return
				}
			}
		})
	}
	more(8_000)
	const slow = 5
	at := make([]uint64, stream.Partitions)
	for p := range at {
		at[p] = uint64(11 * p) // each has folded some
	}
	f := New(l, at)
	var wg sync.WaitGroup
	t.Cleanup(wg.Wait)
	wg.Go(func() { f.Run(t.Context()) })

	got := make([][]uint64, stream.Partitions)
	take := func(p int, want []uint64) {
		for len(got[p]) < len(want) {
			select {
			case m := <-f.Taps[p].Msgs:
				meta, err := m.Metadata()
				if err != nil {
					t.Error(err)
					return
				}
				got[p] = append(got[p], meta.Sequence.Stream)
			case err := <-f.Taps[p].Ended:
				t.Error(p, err)
				return
			}
		}
		if !slices.Equal(got[p], want) {
			t.Errorf("partition %d was given other events than its own, each once and in order", p)
		}
	}
	takeAll := func(but int) {
		want := handedOver(t, l, at)
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
		return f.Taps[slow].alone
	}
	if !alone() {
		t.Fatal("the slow partition is not on its own: the others had to wait for it")
	}
	more(3_000)
	takeAll(slow)
	if b := f.Taps[slow].Behind(); b < tapRoom {
		t.Errorf("%d events are said to wait for the slow partition", b)
	}
	takeAll(-1)
	for alone() {
		more(10)
		takeAll(-1)
	}
	more(3_000)
	takeAll(-1)
	for _, tap := range f.Taps {
		if b := tap.Behind(); b != 0 {
			t.Errorf("%d events are said to wait for partition %d, which has all", b, tap.p)
		}
	}
}

// handedOver are the sequences of the events that each partition is to get.
func handedOver(t *testing.T, l *stream.Log, at []uint64) [][]uint64 {
	t.Helper()
	seqs := make([][]uint64, len(at))
	err := l.Events.Each(t.Context(), 1, ">", func(m jetstream.Msg, seq uint64) error {
		p := -1
		if !ForAll(m.Subject()) {
			var err error
			if p, err = partitionOf(m.Subject()); err != nil {
				return err
			}
		}
		for own, from := range at {
			if seq > from && (p < 0 || p == own) {
				seqs[own] = append(seqs[own], seq)
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
	l := open(t)
	fill(t, l, func(yield func(*nats.Msg) bool) {
		yield(&nats.Msg{Subject: "telltale.in.a.vehicle", Data: []byte("one")})
	})
	f := New(l, make([]uint64, stream.Partitions))
	f.at = 1
	f.Run(t.Context())
	for _, tap := range f.Taps {
		if err := <-tap.Ended; !errors.Is(err, ErrWentBack) {
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

// open is the log on a server that leaves syncing to the system.
func open(t *testing.T) *stream.Log {
	t.Helper()
	ns, err := natsserver.NewServer(&natsserver.Options{Host: "127.0.0.1", Port: natsserver.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), NoSigs: true, NoLog: true})
	if err != nil {
		t.Fatal(err)
	}
	go ns.Start()
	t.Cleanup(func() { ns.Shutdown(); ns.WaitForShutdown() })
	if !ns.ReadyForConnections(10 * time.Second) {
		t.Fatal("the NATS server does not come up")
	}
	nc, err := nats.Connect(ns.ClientURL())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	l, err := stream.Open(t.Context(), nc, stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// fill publishes messages without waiting for each.
func fill(t *testing.T, l *stream.Log, msgs func(yield func(*nats.Msg) bool)) {
	t.Helper()
	n := 0
	wait := func() {
		select {
		case <-l.JS.PublishAsyncComplete():
		case <-time.After(time.Minute):
			t.Fatal("what was published is not acknowledged")
		}
	}
	for m := range msgs {
		if _, err := l.JS.PublishMsgAsync(m); err != nil {
			t.Fatal(err)
		}
		if n++; n%1000 == 0 {
			wait()
		}
	}
	wait()
}
