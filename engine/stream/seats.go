package stream

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strconv"
	"sync"
	"time"
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
		for p := range Partitions {
			out = append(out, strconv.Itoa(p))
		}
		return out
	}()
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

// seating is the seats that this replica has by the shares, and what it does there.
type seating struct {
	id        string // the replica
	log       *slog.Logger
	connected func() bool
	life      context.Context

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

func newSeating(ctx context.Context, id string, l *Log) *seating {
	return &seating{
		id: id, log: l.log, connected: l.nc.IsConnected, life: ctx, known: make(chan struct{}),
		mine: map[string]bool{}, work: map[string]func(context.Context) error{}, held: map[string]*holding{},
	}
}

// offer says what is done in a seat, until its context ends. It begins whenever the
// shares give the seat to this replica, and at once where they have.
func (s *seating) offer(seat string, work func(context.Context) error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.work[seat] = work
	s.settle()
}

// share takes in who lives.
func (s *seating) share(living []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if slices.Equal(living, s.living) {
		return
	}
	s.living = living
	clear(s.mine)
	for _, seats := range [][]string{partitionSeats, dutySeats} {
		for seat, who := range shares(living, seats) {
			if who == s.id {
				s.mine[seat] = true
			}
		}
	}
	s.log.Info("seats reassigned", "replica", s.id, "replicas", len(living), "seats", len(s.mine))
	s.settle()
	s.once.Do(func() { close(s.known) })
}

// settle ends what is done in seats that are not this replica's any more, and
// begins what is to be done in those that are. mu is held.
func (s *seating) settle() {
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

// end waits for all that is done in seats to end. The life has ended.
func (s *seating) end() {
	s.mu.Lock()
	s.over = true
	s.mu.Unlock()
	s.wg.Wait()
}

// keep does the seat's work, again after a rest where it ends before its time.
func (s *seating) keep(seat string, ctx context.Context, work func(context.Context) error) {
	wait := restFirst
	for ctx.Err() == nil {
		if !s.connected() {
			rest(ctx, renewEvery)
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
		case fenced(err):
			s.log.Info("seat lost to another replica", "seat", seat, "replica", s.id, "error", err)
		case s.connected():
			s.log.Error("seat failed; retrying", "seat", seat, "error", err, "in", wait.String())
		}
		rest(ctx, wait)
		wait = min(2*wait, restMost)
	}
}

// seats lists those that this replica has and works in.
func (s *seating) seats() (out []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for seat, h := range s.held {
		if h.ctx.Err() == nil {
			out = append(out, seat)
		}
	}
	return out
}

// replicas lists the living, this one among them.
func (s *seating) replicas() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.living
}

// partitions is how many of them the shares give to this replica.
func (s *seating) partitions() (n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, seat := range partitionSeats {
		if s.mine[seat] {
			n++
		}
	}
	return n
}

// has reports whether the shares give the seat to this replica.
func (s *seating) has(seat string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.mine[seat]
}
