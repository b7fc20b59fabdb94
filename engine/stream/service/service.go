// Package service folds the partitions of a log, all or a share of them, publishes
// what they say, and answers questions about what it folds.
//
// [Start] folds; [Service.Respond] answers on telltale.query.*; each list that can be
// asked for is an [Inquiry], which [Inquiry.Ask] asks of a running service.
//
// What is promised: a partition publishes what an event brought about before it
// writes the records, and the records before the checkpoint, so that a crash between
// two of them has the events folded again, silently up to the last message on
// telltale.alarm.<p>: each output is published once. Two owners of one partition
// cannot both publish, since each message expects the one before it to be the
// owner's own.
package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/budget"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/share"
	"telltale/engine/stream/sight"
	"telltale/rules/unit"
)

// The seats beside those of the partitions: what one replica does for all.
const (
	// TicksSeat publishes the clock's ticks and the turns of lists.
	TicksSeat = "ticks"
	// NotifySeat makes messages of what the partitions say, and sends them.
	NotifySeat = "notify"
	// BaselinesSeat makes the fleet's baselines of its samples.
	BaselinesSeat = "baselines"
)

var (
	dutySeats      = []string{TicksSeat, NotifySeat, BaselinesSeat}
	partitionSeats = func() (out []string) {
		for p := range stream.Partitions {
			out = append(out, strconv.Itoa(p))
		}
		return out
	}()
)

// Config says how the partitions are folded.
type Config struct {
	// Program is this program's version, for the checkpoints and claims.
	Program string
	// ClockFollowsEvents: the clock is that of the events, not the one on the wall,
	// so no event is refused for being in the future.
	ClockFollowsEvents bool
	// Reads are the units in which people read of the fleet, for questions that ask in
	// people's units.
	Reads unit.System
	// Narrow leaves on a part of a list what its reader can hear of, by the scope of its turn;
	// registered gives the registration of a vehicle of the part. Nil: all is published.
	Narrow func(scope string, registered func(home string) *event.VehicleData, part *engine.TurnPart) error
	// Sees reads the Sees of a question. Nil: a question that has one is refused.
	Sees func(text string) (sight.Sees, error)
	// Flush is how long changed records wait to be written; 5 s where 0.
	Flush time.Duration
	// Share has this service share the partitions with all others on the same
	// streams that do so too. Without it, it folds all of them, and ends when
	// another takes one over.
	Share bool
}

// Service folds partitions in this process: all, or its share of them. It is safe
// for concurrent use.
type Service struct {
	log    *stream.Log
	cfg    Config
	shelf  *stream.Shelf
	id     string // of this replica
	life   context.Context
	cancel context.CancelCauseFunc
	done   chan struct{}
	err    error // why it ended; to be read after done
	claims atomic.Uint64
	atWork sync.Map      // the questions from outside that are being answered, by where the answer goes
	slow   chan struct{} // see worker
	budget budget.Budget // of the long questions
	sees   *sight.Reader

	seating   *share.Seating // nil without Share
	dutyLife  context.Context
	endDuties context.CancelFunc
	duties    sync.WaitGroup // without Share

	mu      sync.Mutex
	ended   bool                       // the partitions have
	workers [stream.Partitions]*worker // those that this process folds, loaded
}

var errStopped = errors.New("the service was stopped")

// Start begins to fold: all partitions, which it claims and loads before it
// returns, or with Config.Share those that come to its share. It returns before
// they have caught up, see CaughtUp and Settled. When ctx ends the service stops.
func Start(ctx context.Context, l *stream.Log, cfg Config) (*Service, error) {
	if cfg.Flush <= 0 {
		cfg.Flush = 5 * time.Second
	}
	s := &Service{log: l, cfg: cfg, shelf: stream.NewShelf(l), id: share.Name(), done: make(chan struct{}), slow: make(chan struct{}, slowAtOnce), sees: sight.New(cfg.Sees)}
	if !cfg.Share {
		if err := s.loadAll(ctx); err != nil {
			return nil, fmt.Errorf("starting the partitions: %w", err)
		}
	}
	s.life, s.cancel = context.WithCancelCause(ctx)
	s.dutyLife, s.endDuties = context.WithCancel(s.life)
	if cfg.Share {
		s.seating = share.New(s.life, l, s.id, partitionSeats, dutySeats)
		go s.share()
		return s, nil
	}
	go s.run(s.newFeed())
	return s, nil
}

func (s *Service) loadAll(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	for p := range stream.Partitions {
		w := s.newWorker(p)
		s.workers[p] = w
		g.Go(func() error { return w.load(ctx) })
	}
	s.claims.Add(stream.Partitions)
	return g.Wait()
}

func (s *Service) newWorker(p int) *worker {
	w := newWorker(s.log, s.cfg, s.shelf, p)
	w.slow, w.sees = s.slow, s.sees
	return w
}

// newFeed has all workers fed, each from the position of its fold on.
func (s *Service) newFeed() *feed.Feed {
	var at []uint64
	for _, w := range s.workers {
		at = append(at, w.at.Seq)
	}
	f := feed.New(s.log, at)
	for p, w := range s.workers {
		w.tap = f.Taps[p]
	}
	return f
}

// run folds all partitions, which the feed serves. It ends when all workers have. One
// that fails ends the others.
func (s *Service) run(f *feed.Feed) {
	defer close(s.done)
	var wg sync.WaitGroup
	wg.Go(func() { f.Run(s.life) })
	for _, w := range s.workers {
		wg.Go(func() {
			err := w.run(s.life)
			w.fail(err)
			if errors.Is(err, errStopped) {
				err = nil
			} else {
				err = fmt.Errorf("partition %d: %w", w.p, err)
			}
			s.end(err)
		})
	}
	wg.Wait()
	s.mu.Lock()
	s.ended = true // Hold begins nothing more
	s.mu.Unlock()
	s.duties.Wait()
}

// end stops everything; the first cause that is not nil is why.
func (s *Service) end(why error) {
	s.mu.Lock()
	if s.err == nil {
		s.err = why
	}
	s.mu.Unlock()
	s.cancel(errStopped)
}

// share folds what comes to this replica's share, until the service is stopped.
func (s *Service) share() {
	defer close(s.done)
	for p, seat := range partitionSeats {
		s.seating.Offer(seat, func(ctx context.Context) error { return s.partition(ctx, p) })
	}
	s.seating.Run(s.doubt)
}

// partition has one partition while its seat is this replica's.
func (s *Service) partition(ctx context.Context, p int) error {
	w := s.newWorker(p)
	w.owner = s.id
	if err := w.load(ctx); err != nil {
		return err
	}
	s.claims.Add(1)
	m, err := s.respondPart(w)
	if err != nil {
		return err
	}
	defer m.Stop()
	s.install(p, w)
	defer s.install(p, nil)
	err = w.run(ctx)
	w.fail(err)
	return err
}

func (s *Service) install(p int, w *worker) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.workers[p] = w
}

// worker is the one that folds a partition in this process; nil where that is
// elsewhere.
func (s *Service) worker(p int) *worker {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.workers[p]
}

// here lists the workers of this process.
func (s *Service) here() []*worker {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(s.workers[:]), func(w *worker) bool { return w == nil })
}

// doubt has all workers look whether they still own their partitions.
func (s *Service) doubt() {
	for _, w := range s.here() {
		select {
		case w.doubt <- struct{}{}:
		default: // it is to look already
		}
	}
}

// Hold has this process do something that one replica at a time does: duty runs
// while it has the seat, and anew each time that it comes to have it. It must end
// with its context; ending with another error ends the service, or with
// Config.Share is tried again after a while.
func (s *Service) Hold(seat string, duty func(context.Context) error) {
	if s.seating != nil {
		s.seating.Offer(seat, func(ctx context.Context) error { return s.duty(ctx, seat, duty) })
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ended {
		return
	}
	s.duties.Go(func() {
		if err := duty(s.dutyLife); err != nil && s.dutyLife.Err() == nil {
			s.end(fmt.Errorf("seat %q: %w", seat, err))
		}
	})
}

// duty does it while this replica has the seat, by the shares and by the lease.
func (s *Service) duty(seated context.Context, seat string, duty func(context.Context) error) error {
	ctx, cancel := context.WithCancelCause(seated)
	defer cancel(nil)
	defer context.AfterFunc(s.dutyLife, func() { cancel(context.Cause(s.dutyLife)) })()
	err := s.seating.Lease(ctx, seat, duty)
	if s.dutyLife.Err() != nil {
		<-seated.Done()
	}
	return err
}

// Done is closed when the service has ended.
func (s *Service) Done() <-chan struct{} { return s.done }

// Err says why the service ended, after Done: nil if it was stopped.
func (s *Service) Err() error {
	select {
	case <-s.done:
		return s.err
	default:
		return nil
	}
}

// Stop ends the duties and the folding, writes records and checkpoints, and returns
// within 5 s. The error is why the service had ended before, or that it did not end
// in time.
func (s *Service) Stop() error {
	s.endDuties() // first, so that they do not take the partitions' end for a fault
	s.cancel(errStopped)
	select {
	case <-s.done:
		return s.err
	case <-time.After(5 * time.Second):
		return errors.New("stopping the partitions: not done after 5 s; what is not written is folded again")
	}
}

// shared is how many partitions the shares give to this replica.
func (s *Service) shared() (n int) {
	for _, seat := range partitionSeats {
		if s.seating.Has(seat) {
			n++
		}
	}
	return n
}
