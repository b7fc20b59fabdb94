package try

import (
	"context"
	"crypto/rand"
	"errors"
	"iter"
	"net/url"
	"slices"
	"sync"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/whatif"
)

// How long a change is looked at, and what came of it is kept.
const (
	atMost   = 30 * time.Second // of one core: the vehicles are folded one after the other
	leftFor  = 12 * time.Second // nobody has asked how far it is: whoever began it has gone
	keptFor  = 15 * time.Minute
	mostKept = 5
)

// run is a change that is being tried, or was.
type run struct {
	id, file, text string
	changes        []string   // the lines in which the text differs from the file in force
	asked          url.Values // the form, without the text
	over           string     // which vehicles, in words
	days           string
	from           time.Time // since when differences count
	checked        *checked
	titles         map[string]string // of the vehicles, by the names of their records
	of             int               // vehicles

	cancel context.CancelFunc
	ended  chan struct{} // closed when it has
	trial  *whatif.Trial // to be read when it has ended
	err    error         // likewise
	gone   *time.Timer   // forgets it or, while it goes on, ends it

	mu sync.Mutex
	at int // vehicles looked at
}

// running reports whether it goes on.
func (r *run) running() bool {
	select {
	case <-r.ended:
		return false
	default:
		return true
	}
}

// looked is how many vehicles were looked at.
func (r *run) looked() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.at
}

var (
	errStopped = errors.New("it was stopped")
	errLeft    = errors.New("nobody waited for it")
	errLong    = errors.New("its time was up")
)

// before is where a test holds a run up.
var before = func(context.Context) {}

// work folds the vehicles, until all are or ctx ends.
func (r *run) work(ctx context.Context, log *stream.Log, vehicles []engine.RegisteredVehicle) {
	if r.trial.Hash, r.trial.Baselines, r.err = log.BaselinesInForce(ctx); r.err != nil {
		return
	}
	for i, v := range vehicles {
		before(ctx)
		err := r.trial.Vehicle(events(ctx, log, home(v)))
		if err != nil {
			if r.err = context.Cause(ctx); r.err == nil {
				r.err = err
			}
			return
		}
		r.mu.Lock()
		r.at = i + 1
		r.mu.Unlock()
	}
}

var errEnough = errors.New("enough")

// events are those that the log holds of a vehicle.
func events(ctx context.Context, log *stream.Log, vehicle string) iter.Seq2[event.Event, error] {
	return func(yield func(event.Event, error) bool) {
		err := log.EachOf(ctx, vehicle, func(ev event.Event) error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if !yield(ev, nil) {
				return errEnough
			}
			return nil
		})
		if err != nil && !errors.Is(err, errEnough) {
			yield(event.Event{}, err)
		}
	}
}

// runs are those that are kept, the latest last. One at a time goes on.
type runs struct {
	mu   sync.Mutex
	list []*run
}

// begin begins to work, unless another goes on: then it is given back, and nothing is begun.
func (s *runs) begin(ctx context.Context, r *run, work func(context.Context)) (other *run) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, o := range s.list {
		if o.running() {
			return o
		}
	}
	r.id, r.ended = rand.Text(), make(chan struct{})
	ctx, leave := context.WithCancelCause(context.WithoutCancel(ctx))
	ctx, done := context.WithTimeoutCause(ctx, atMost, errLong)
	r.cancel = func() { leave(errStopped); done() }
	r.gone = time.AfterFunc(leftFor, func() {
		if r.running() {
			leave(errLeft)
		} else {
			s.forget(r)
		}
	})
	if len(s.list) == mostKept {
		s.list[0].gone.Stop()
		s.list = s.list[1:]
	}
	s.list = append(s.list, r)
	go func() {
		work(ctx)
		r.cancel()
		close(r.ended)
		s.get(r.id) // from now on it is kept for its time
	}()
	return nil
}

// get is the run of that name, which somebody waits for; nil where it was forgotten.
func (s *runs) get(id string) *run {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, r := range s.list {
		if r.id == id {
			if r.running() {
				r.gone.Reset(leftFor)
			} else {
				r.gone.Reset(keptFor)
			}
			return r
		}
	}
	return nil
}

func (s *runs) forget(r *run) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.list = slices.DeleteFunc(s.list, func(o *run) bool { return o == r })
}
