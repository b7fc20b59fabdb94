// Package share divides seats, each of which is something that one replica does for
// all, among the replicas that live.
//
// A replica says that it lives by a key that runs out (presence.go). All compute the
// same shares of the list of the living (shares.go), and begin and end their work
// by them ([Seating]). None of this makes anything safe: two replicas may take
// themselves for a seat's owner for a moment. What is done in a seat is either
// fenced, as a partition's writes are, or done under a lease ([Seating.Lease]).
package share

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
)

// errMoved ends what is done in a seat that the shares gave to another replica.
var errMoved = errors.New("the seat went to another replica")

const (
	// restFirst is how long a seat that was lost to the fence, or that failed, is
	// left alone before it is taken again if the shares still give it to this
	// replica. By then all have the same list of the living, and do not snatch a
	// partition from each other in turn.
	restFirst = time.Second
	// restMost is how long that grows while it happens again.
	restMost = 30 * time.Second
)

// ErrCrashed, as the cause of a context's end, ends everything with nothing written
// down, as a crash would.
var ErrCrashed = errors.New("the service crashed")

// Seating is the seats that this replica has by the shares, and what it does there.
// It is safe for concurrent use.
type Seating struct {
	id     string // the replica
	log    *stream.Log
	groups [][]string // the seats; each group is shared by itself
	life   context.Context

	mu     sync.Mutex
	living []string
	mine   map[string]bool
	work   map[string]func(context.Context) error
	held   map[string]*holding
	over   bool // nothing more begins
	wg     sync.WaitGroup
	once   sync.Once
	known  chan struct{} // closed once the first shares are
}

// holding is a seat from the shares that gave it until what is done there has ended.
type holding struct {
	ctx    context.Context
	cancel context.CancelCauseFunc
	done   chan struct{}
}

// New has the replica called id without any seat. Each group of seats is shared by
// itself. The work in them ends with ctx.
func New(ctx context.Context, l *stream.Log, id string, groups ...[]string) *Seating {
	return &Seating{
		id: id, log: l, groups: groups, life: ctx, known: make(chan struct{}),
		mine: map[string]bool{}, work: map[string]func(context.Context) error{}, held: map[string]*holding{},
	}
}

// Offer says what is done in a seat, until its context ends. It begins whenever the
// shares give the seat to this replica, and at once where they have.
func (s *Seating) Offer(seat string, work func(context.Context) error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.work[seat] = work
	s.settle()
}

// share takes in who lives.
func (s *Seating) share(living []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if slices.Equal(living, s.living) {
		return
	}
	s.living = living
	clear(s.mine)
	for _, seats := range s.groups {
		for seat, who := range shares(living, seats) {
			if who == s.id {
				s.mine[seat] = true
			}
		}
	}
	s.log.Logger.Info("seats reassigned", "replica", s.id, "replicas", len(living), "seats", len(s.mine))
	s.settle()
	s.once.Do(func() { close(s.known) })
}

// settle ends what is done in seats that are not this replica's any more, and
// begins what is to be done in those that are. mu is held.
func (s *Seating) settle() {
	for seat, h := range s.held {
		if !s.mine[seat] {
			h.cancel(errMoved)
		}
	}
	for seat := range s.mine {
		work, before := s.work[seat], s.held[seat]
		if work == nil || s.over || before != nil && before.ctx.Err() == nil {
			continue
		}
		ctx, cancel := context.WithCancelCause(s.life)
		h := &holding{ctx: ctx, cancel: cancel, done: make(chan struct{})}
		s.held[seat] = h
		s.wg.Go(func() {
			if before != nil {
				<-before.done
			}
			s.keep(seat, h.ctx, work)
			close(h.done)
			s.mu.Lock()
			defer s.mu.Unlock()
			if s.held[seat] == h {
				delete(s.held, seat)
			}
		})
	}
}

// Run keeps this replica among the living until its life ends; the key goes once all
// that is done in seats has ended, so that who takes over begins where that left
// off. lapsed is told that the key had run out: others may have taken what is its.
func (s *Seating) Run(lapsed func()) {
	p := &presence{log: s.log, id: s.id, changed: s.share, lapsed: lapsed}
	live, gone := context.WithCancelCause(context.WithoutCancel(s.life))
	left := make(chan struct{})
	go func() { p.run(live); close(left) }()
	<-s.life.Done()
	s.mu.Lock()
	s.over = true
	s.mu.Unlock()
	s.wg.Wait() // for all that is done in seats to end
	gone(context.Cause(s.life))
	<-left
}

// keep does the seat's work, again after a rest where it ends before its time.
func (s *Seating) keep(seat string, ctx context.Context, work func(context.Context) error) {
	wait := restFirst
	for ctx.Err() == nil {
		if !s.log.Conn.IsConnected() {
			jet.Rest(ctx, renewEvery)
			continue
		}
		began := time.Now()
		err := work(ctx)
		if ctx.Err() != nil {
			return
		}
		if time.Since(began) > 2*restMost {
			wait = restFirst
		}
		switch {
		case jet.Fenced(err):
			s.log.Logger.Info("seat lost to another replica", "seat", seat, "replica", s.id, "error", err)
		case s.log.Conn.IsConnected():
			s.log.Logger.Error("seat failed; retrying", "seat", seat, "error", err, "in", wait.String())
		}
		jet.Rest(ctx, wait)
		wait = min(2*wait, restMost)
	}
}

// Seats lists those that this replica has and works in.
func (s *Seating) Seats() (out []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for seat, h := range s.held {
		if h.ctx.Err() == nil {
			out = append(out, seat)
		}
	}
	return out
}

// Replicas lists the living, this one among them.
func (s *Seating) Replicas() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.living
}

// Known is closed once the shares are known for the first time.
func (s *Seating) Known() <-chan struct{} { return s.known }

// Has reports whether the shares give the seat to this replica.
func (s *Seating) Has(seat string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.mine[seat]
}
