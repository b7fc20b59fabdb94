package stream

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"
)

// Config says how the partitions are folded.
type Config struct {
	// Program is this program's version, for the checkpoints and claims.
	Program string
	// ClockFollowsEvents: the clock is that of the events, not the one on the wall,
	// so no event is refused for being in the future.
	ClockFollowsEvents bool
	// Flush is how long changed records wait to be written; 5 s where 0.
	Flush time.Duration
}

// Service folds all partitions in this process. It is safe for concurrent use.
type Service struct {
	log     *Log
	cfg     Config
	workers []*worker
	cancel  context.CancelCauseFunc
	done    chan struct{}
	err     error // why it ended; to be read after done
}

var (
	errStopped = errors.New("the service was stopped")
	// errCrashed ends the workers with nothing written down, as a crash would.
	errCrashed = errors.New("the service crashed")
)

// Start claims all partitions, loads them and begins to fold. It returns before
// they have caught up, see CaughtUp. When ctx ends the service stops.
func Start(ctx context.Context, l *Log, cfg Config) (*Service, error) {
	if cfg.Flush <= 0 {
		cfg.Flush = 5 * time.Second
	}
	s := &Service{log: l, cfg: cfg, done: make(chan struct{})}
	shelf := newShelf(l)
	g, load := errgroup.WithContext(ctx)
	for p := range Partitions {
		w := newWorker(l, cfg, shelf, p)
		s.workers = append(s.workers, w)
		g.Go(func() error { return w.load(load) })
	}
	if err := g.Wait(); err != nil {
		return nil, fmt.Errorf("starting the partitions: %w", err)
	}
	ctx, s.cancel = context.WithCancelCause(ctx)
	go s.run(ctx)
	return s, nil
}

// run ends when all workers have. One that fails ends the others.
func (s *Service) run(ctx context.Context) {
	defer close(s.done)
	var wg sync.WaitGroup
	var first sync.Once
	for _, w := range s.workers {
		wg.Go(func() {
			err := w.run(ctx)
			w.fail(err)
			if !errors.Is(err, errStopped) {
				first.Do(func() { s.err = fmt.Errorf("partition %d: %w", w.p, err) })
			}
			s.cancel(errStopped)
		})
	}
	wg.Wait()
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

// Stop ends the folding, writes records and checkpoints, and returns within 5 s.
// The error is why the service had ended before, or that it did not end in time.
func (s *Service) Stop() error {
	s.cancel(errStopped)
	select {
	case <-s.done:
		return s.err
	case <-time.After(5 * time.Second):
		return errors.New("stopping the partitions: not done after 5 s; what is not written down is folded again")
	}
}

// CaughtUp blocks until every partition has folded all events that the log held
// at the call, and what they say is published.
func (s *Service) CaughtUp(ctx context.Context) error {
	last, err := s.log.LastEvent(ctx)
	if err != nil || last == 0 {
		return err
	}
	if m, err := s.log.event(ctx, last); err == nil && m != nil && allSubject(m.Subject) {
		return s.each(func(w *worker) error { return w.wait(ctx, last) })
	}
	return s.each(func(w *worker) error {
		seq, err := s.log.lastOf(ctx, w.p)
		if err != nil {
			return err
		}
		return w.wait(ctx, seq)
	})
}

func (s *Service) each(do func(*worker) error) error {
	for _, w := range s.workers {
		if err := do(w); err != nil {
			return err
		}
	}
	return nil
}
