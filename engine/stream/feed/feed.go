// Package feed reads the log of events once for all partitions of a process that folds them
// all, and hands each partition its own.
package feed

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
)

// ErrWentBack says that a stream holds less than it did: its store was rolled
// back, or it was made anew.
var ErrWentBack = errors.New("the log went back")

// Feed reads the log of events once for all partitions of a process that folds them
// all. Where each reads for itself, the server looks through its vehicles for every
// message that it gives out, which is a quarter of the way from the log to the
// transitions. Each still folds at its own pace: one that holds up the others reads for
// itself until it has caught up.
type Feed struct {
	log     *stream.Log
	Taps    []*Tap         // by partition
	pending atomic.Uint64  // events of the log behind the last one that was handed out
	readers sync.WaitGroup // of the partitions that read for themselves

	mu sync.Mutex // held while a message is handed out, and while a partition comes back
	at uint64     // the last sequence that was handed out
}

// Tap is where one partition's events come from.
type Tap struct {
	Msgs  chan jetstream.Msg
	Ended chan error // why there are no more; room for one

	feed *Feed
	p    int

	next  uint64        // the first sequence that the feed hands over
	alone bool          // it reads for itself
	held  time.Duration // how long it has held up the feed since that was looked at

	missed  atomic.Int64  // how many messages the feed has passed by since it reads for itself
	pending atomic.Uint64 // how many of its events are behind the last one that it read itself
}

const (
	// tapRoom is how many events wait for each partition.
	tapRoom = 256
	// holdUp is how long a partition may hold up others that have nothing left to fold.
	holdUp = 50 * time.Millisecond
	// near is from how many events on a partition that reads for itself has caught up.
	near = tapRoom / 4
)

// New has each partition's events begin behind the position of its fold, by partition.
func New(l *stream.Log, at []uint64) *Feed {
	f := &Feed{log: l}
	for p, seq := range at {
		t := &Tap{feed: f, p: p, Msgs: make(chan jetstream.Msg, tapRoom), Ended: make(chan error, 1), next: seq + 1}
		f.Taps = append(f.Taps, t)
	}
	return f
}

// Subjects are those of the events that a partition folds.
func Subjects(p int) []string { return []string{fmt.Sprintf("telltale.event.%d.>", p), forAll + ">"} }

const forAll = "telltale.all."

// ForAll reports whether every partition reads what is published on a subject.
func ForAll(subject string) bool { return strings.HasPrefix(subject, forAll) }

// Run hands out until ctx ends. If that cannot go on before, all partitions hear why.
func (f *Feed) Run(ctx context.Context) {
	err := f.handOut(ctx)
	for _, t := range f.Taps {
		t.end(err)
	}
	f.readers.Wait()
}

func (t *Tap) end(err error) {
	select {
	case t.Ended <- err:
	default: // it has ended already
	}
}

func (f *Feed) handOut(ctx context.Context) error {
	from := f.Taps[0].next
	for _, t := range f.Taps {
		from = min(from, t.next)
	}
	return f.log.Events.Follow(ctx, from, func(m jetstream.Msg, meta *jetstream.MsgMetadata) error { return f.hand(ctx, m, meta) }, ">")
}

// hand gives a message to those that fold it.
func (f *Feed) hand(ctx context.Context, m jetstream.Msg, meta *jetstream.MsgMetadata) error {
	seq := meta.Sequence.Stream
	taps := f.Taps
	if !ForAll(m.Subject()) {
		p, err := partitionOf(m.Subject())
		if err != nil {
			return err
		}
		taps = taps[p : p+1]
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if seq <= f.at {
		return fmt.Errorf("%w: event %d follows event %d", ErrWentBack, seq, f.at)
	}
	f.at = seq
	f.pending.Store(meta.NumPending)
	for _, t := range taps {
		switch {
		case seq < t.next:
		case t.alone:
			t.missed.Add(1)
		case !t.give(ctx, m):
			t.alone = true
			t.missed.Store(1)
			f.readers.Go(func() {
				if err := t.readAlone(ctx, seq); err != nil {
					t.end(err)
				}
			})
		}
	}
	return nil
}

// partitionOf is the partition in the subject of a vehicle's event.
func partitionOf(subject string) (int, error) {
	s, _, _ := strings.Cut(strings.TrimPrefix(subject, "telltale.event."), ".")
	p, err := strconv.Atoi(s)
	if err != nil || p < 0 || p >= stream.Partitions {
		return 0, fmt.Errorf("reading the log: %q is the subject of no partition", subject)
	}
	return p, nil
}

// give waits until there is room for m; false: others would wait for that too long.
func (t *Tap) give(ctx context.Context, m jetstream.Msg) bool {
	select {
	case t.Msgs <- m:
		return true
	default:
	}
	began := time.Now()
	for {
		enough := time.NewTimer(holdUp - t.held)
		select {
		case t.Msgs <- m:
			enough.Stop()
			t.held += time.Since(began)
			return true
		case <-enough.C:
			if t.held = 0; t.feed.starves() {
				return false
			}
			began = time.Now()
		case <-ctx.Done():
			enough.Stop()
			return true // nobody folds any more
		}
	}
}

// starves reports whether half of the partitions have nothing to fold: they wait for the
// feed, also those that read for themselves and would come back to it.
func (f *Feed) starves() bool {
	empty := 0
	for _, t := range f.Taps {
		if len(t.Msgs) == 0 {
			empty++
		}
	}
	return 2*empty >= len(f.Taps)
}

// readAlone reads the partition's events from a sequence on, until it can leave that to
// the feed again.
func (t *Tap) readAlone(ctx context.Context, from uint64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	msgs, ended, err := t.feed.log.Events.Read(ctx, from, Subjects(t.p)...)
	if err != nil {
		return err
	}
	r := aloneReader{tap: t, msgs: msgs, ended: ended}
	for {
		if err := r.pass(ctx); err != nil {
			return err
		}
		if r.lacks() > near {
			continue
		}
		for len(t.Msgs) > tapRoom-2*near && ctx.Err() == nil {
			jet.Rest(ctx, time.Millisecond) // so that the feed does not wait for it again
		}
		if back, err := r.comeBack(ctx); back || err != nil {
			return err
		}
	}
}

// aloneReader passes on what a partition reads for itself.
type aloneReader struct {
	tap   *Tap
	msgs  <-chan jetstream.Msg
	ended <-chan error
	count int64
	seq   uint64 // of the last message
}

func (r *aloneReader) pass(ctx context.Context) error {
	select {
	case m := <-r.msgs:
		meta, err := m.Metadata()
		if err != nil {
			return fmt.Errorf("reading the log: %w", err)
		}
		r.tap.pending.Store(meta.NumPending)
		r.seq = meta.Sequence.Stream
		r.count++
		select {
		case r.tap.Msgs <- m:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	case err := <-r.ended:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// lacks is how many of the messages that the feed has passed by are still to be read; less
// than none where the feed is behind.
func (r *aloneReader) lacks() int64 { return r.tap.missed.Load() - r.count }

// comeBack leaves the partition's events to the feed, once those that it has passed by are
// read, unless they are many again.
func (r *aloneReader) comeBack(ctx context.Context) (bool, error) {
	t := r.tap
	t.feed.mu.Lock()
	defer t.feed.mu.Unlock()
	if r.lacks() > near {
		return false, nil
	}
	for r.lacks() > 0 {
		if err := r.pass(ctx); err != nil {
			return false, err
		}
	}
	t.next, t.alone, t.held = r.seq+1, false, 0
	t.pending.Store(0)
	return true, nil
}

// Behind is how many events wait behind the last one that the partition took: those of
// all partitions, unless it reads for itself.
func (t *Tap) Behind() uint64 {
	return uint64(len(t.Msgs)) + t.feed.pending.Load() + t.pending.Load()
}
