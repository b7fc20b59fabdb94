// Package service drives a [notify.Notifier] over the log of what was said and its clock,
// one term after another, and beside it the queue that sends what is stored.
package service

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"telltale/engine"
	"telltale/engine/sample"
	"telltale/notify"
	"telltale/notify/delivery"
	"telltale/notify/people"
	"telltale/rules/unit"
)

// Log is what was said, in the order of its sequences, and the clock that goes with it.
// What is handed over comes one by one, until ctx ends or do fails.
type Log interface {
	// Outputs hands over what was said from a sequence on, and what is said from now.
	Outputs(ctx context.Context, from uint64, do func(seq uint64, c notify.Cause, out []engine.Output) error) error
	// LastOutput is the sequence of the last; 0 where nothing was said.
	LastOutput(ctx context.Context) (uint64, error)
	// Ticks hands over the last tick and those that follow, each once all that lay in
	// the log before it has been folded and said.
	Ticks(ctx context.Context, do func(time.Time) error) error
	// TrimSaid takes out what was said before a time, up to a sequence that nobody
	// reads again; said is how many.
	TrimSaid(ctx context.Context, before time.Time, told uint64) (said uint64, err error)
	// KeepSaid puts what is said by vehicle too, for histories, until ctx ends.
	KeepSaid(ctx context.Context)
}

// Fleet answers what telling asks of vehicles. It waits for an answer, and fails only
// where there is none before ctx ends.
type Fleet interface {
	Vehicle(ctx context.Context, id string) (people.Vehicle, error)
	// OutOfService gives the vehicles whose alarms stand so.
	OutOfService(ctx context.Context) (map[string]bool, error)
	// Verdicts are what the latest sample of a component says, in the units of whoever
	// reads it. It may fail sooner: a message goes without its picture then.
	Verdicts(ctx context.Context, vehicle, component string, reads unit.System) ([]sample.Verdict, error)
}

// Way is one way to tell people: how what is said becomes what it carries, and who
// carries it. To add one is to write it, to read its address in package people, and to
// register it where the Service is made.
type Way struct {
	delivery.Way
	Compose notify.Composer // nil for a way to programs, which carries data as it is
}

// Service tells people what is said in a log, one term after another: of all that
// share a log one at a time runs it.
type Service struct {
	Log   Log
	Fleet Fleet
	// Notifier is what the service drives; it fills in Store, Queue, Compose, Register,
	// Silent and Sample.
	Notifier *notify.Notifier
	// Store and Ways give those of a term, by the name of the way.
	Store func() notify.Store
	Ways  func(ctx context.Context) map[string]Way
	// Beside starts what answers in this one's name while it tells, and gives what
	// ends that.
	Beside func() (stop func() error, err error)
	// Suspect says that the clock on the wall is wrong: nothing is taken for old then.
	Suspect func() bool

	mu     sync.Mutex                     // guards what Notifier does
	queue  atomic.Pointer[delivery.Queue] // while it tells
	unsure atomic.Bool                    // something could not be asked any more, so what was told may lack it
	told   atomic.Uint64                  // the last message of the log that was handled
	ticked atomic.Int64                   // the last tick that was handled, Unix seconds
}

// Directory returns the directory in force.
func (s *Service) Directory() *people.Directory { return s.Notifier.Directory() }

// SetDirectory puts a directory in force from the next message on.
func (s *Service) SetDirectory(d *people.Directory) { s.Notifier.SetDirectory(d) }

// Queue is what sends; nil while another one tells.
func (s *Service) Queue() *delivery.Queue { return s.queue.Load() }

// Run is one term: it shuts out whoever told before, reads the log from the checkpoint
// on, and sends what comes of it until ctx ends.
func (s *Service) Run(ctx context.Context) error {
	queue, next, err := s.begin(ctx)
	if err != nil {
		return err
	}
	s.queue.Store(queue)
	defer s.queue.Store(nil)
	stop, err := s.Beside()
	if err != nil {
		return err
	}
	g, life := errgroup.WithContext(ctx)
	g.Go(func() error { queue.Run(life); return nil })
	g.Go(func() error { return s.byClock(life) })
	g.Go(func() error { return s.news(life, next) })
	g.Go(func() error { s.trimDaily(life); return nil })
	g.Go(func() error { s.Log.KeepSaid(life); return nil })
	return errors.Join(g.Wait(), stop())
}

// begin takes the telling over, and gives where to read the log from.
func (s *Service) begin(ctx context.Context) (queue *delivery.Queue, next uint64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.unsure.Store(false)
	n := s.Notifier
	n.Store, n.Compose = s.Store(), map[string]notify.Composer{}
	queue = &delivery.Queue{Store: n.Store, Ways: map[string]delivery.Way{}, Log: n.Log}
	for name, way := range s.Ways(ctx) {
		queue.Ways[name], n.Compose[name] = way.Way, way.Compose
	}
	n.Queue = queue
	n.Register = func(id string) people.Vehicle {
		v, err := s.Fleet.Vehicle(ctx, id)
		s.doubt(err)
		return v
	}
	n.Silent = func() map[string]bool {
		out, err := s.Fleet.OutOfService(ctx)
		s.doubt(err)
		return out
	}
	n.Sample = func(vehicle, component string, reads unit.System) []sample.Verdict {
		list, _ := s.Fleet.Verdicts(ctx, vehicle, component, reads) // or no picture
		return list
	}
	if next, err = n.Start(ctx); err != nil {
		return nil, 0, err
	}
	last, err := s.Log.LastOutput(ctx)
	if err != nil {
		return nil, 0, err
	}
	if next > last+1 { // what follows its end is news
		n.Log.Error("the log of alarms went back; messages continue with what comes after its end", "read up to", next-1, "ends at", last)
		n.Rewind(last)
		next = last + 1
	}
	if err := n.Flush(ctx, next-1); err != nil { // whoever told before is fenced from here on
		return nil, 0, err
	}
	s.told.Store(next - 1)
	return queue, next, nil
}

// doubt notes that something was not answered before the end of the term.
func (s *Service) doubt(err error) {
	if err != nil {
		s.unsure.Store(true)
	}
}

// guarded does one thing with the notifier, and then notes how far it has come. What
// was told on a doubtful ground is not noted: the next term tells it again.
func (s *Service) guarded(ctx context.Context, do func() error, note func()) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := do(); err != nil {
		return err
	}
	if s.unsure.Load() {
		return ctx.Err()
	}
	note()
	return nil
}

// news hands the log to the notifier, and writes the checkpoint at the end.
func (s *Service) news(ctx context.Context, next uint64) error {
	err := s.Log.Outputs(ctx, next, func(seq uint64, c notify.Cause, out []engine.Output) error {
		return s.guarded(ctx, func() error {
			if len(out) == 0 {
				return nil
			}
			return s.Notifier.Handle(ctx, seq, c, out)
		}, func() { s.told.Store(seq) })
	})
	if ctx.Err() != nil {
		err = nil
	}
	if seq := s.told.Load(); err == nil && seq >= next && !s.unsure.Load() {
		flush, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		s.mu.Lock()
		defer s.mu.Unlock()
		err = s.Notifier.Flush(flush, seq)
	}
	return err
}

// byClock hands the ticks to the notifier, each once all that was said with it has
// been told.
func (s *Service) byClock(ctx context.Context) error {
	err := s.Log.Ticks(ctx, func(t time.Time) error {
		if err := s.toldAll(ctx); err != nil {
			return err
		}
		return s.guarded(ctx, func() error { return s.Notifier.Tick(ctx, t) }, func() { s.ticked.Store(t.Unix()) })
	})
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// toldAll waits until all that was said by now is told.
func (s *Service) toldAll(ctx context.Context) error {
	last, err := s.Log.LastOutput(ctx)
	if err != nil {
		return err
	}
	return await(ctx, soon, func() bool { return s.told.Load() >= last })
}

// soon is how often it is looked whether something has come about that is near.
const soon = 2 * time.Millisecond

// await looks again and again until something is so.
func await(ctx context.Context, every time.Duration, so func() bool) error {
	for look := time.Tick(every); !so(); {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-look:
		}
	}
	return nil
}

// Leave notes that a person wants no more mails of a kind, or with back that they want
// them again. It is written down when it returns.
func (s *Service) Leave(ctx context.Context, person string, kind notify.Kind, back bool, at time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.unsure.Load() { // what was made since the checkpoint is not to be kept
		return errors.New("unsubscribing: the replica that sends messages is about to stop")
	}
	return s.Notifier.Leave(ctx, person, kind, back, at)
}

// Ticked waits until the tick of a time has been handled.
func (s *Service) Ticked(ctx context.Context, t time.Time) error {
	return await(ctx, soon, func() bool { return s.ticked.Load() >= t.Unix() })
}

// Settle waits until all that was said is told, and each message sent, tried once, or
// failed in plain sight.
func (s *Service) Settle(ctx context.Context) error {
	if err := s.toldAll(ctx); err != nil {
		return err
	}
	var failed error
	err := await(ctx, 10*soon, func() bool {
		var list []delivery.Delivery
		list, failed = delivery.All(ctx, s.Store())
		return failed != nil || !slices.ContainsFunc(list, delivery.Delivery.Pending)
	})
	return errors.Join(failed, err)
}

const (
	// keepSaid is how long what the partitions said is kept beyond what is still
	// needed: the history of a vehicle shows it, and an audit asks for three years.
	keepSaid = 3 * 366 * 24 * time.Hour
	// keepTold is how long a message to a person is kept after it was sent or given up.
	keepTold = 400 * 24 * time.Hour
)

// trimDaily takes what is old out of the logs of what was said and told, until ctx ends.
func (s *Service) trimDaily(ctx context.Context) {
	for daily := time.Tick(24 * time.Hour); ; {
		if !s.Suspect() { // a wall that is years ahead would make everything old
			if err := s.trim(ctx, time.Now()); err != nil && ctx.Err() == nil {
				s.Notifier.Log.Warn("trimming failed; retrying tomorrow", "error", err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-daily:
		}
	}
}

func (s *Service) trim(ctx context.Context, now time.Time) error {
	s.mu.Lock()
	saved, store := s.Notifier.Saved(), s.Notifier.Store
	s.mu.Unlock()
	told, err := delivery.Trim(ctx, store, now.Add(-keepTold))
	said, err2 := s.Log.TrimSaid(ctx, now.Add(-keepSaid), saved)
	if said > 0 || told > 0 {
		s.Notifier.Log.Info("old messages trimmed", "said", said, "told", told)
	}
	return errors.Join(err, err2)
}
