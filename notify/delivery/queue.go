package delivery

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"strings"
	"sync"
	"time"

	"telltale/notify/page"
)

// Queue sends what is stored. One goroutine, Run, owns the deliveries that wait;
// each way, and each receiver of webhooks, has workers of its own, so that a slow
// server holds up only what goes to it. Deliveries of one thread go out in the order
// they were made.
type Queue struct {
	Store Store
	Ways  map[string]Way // by name; a delivery by another way fails
	// Workers is how many deliveries are in flight at once to one server; 4 where 0.
	Workers int
	Log     *slog.Logger // slog.Default where nil

	once sync.Once
	wake chan struct{}
	mu   sync.Mutex // guards the fields below, through which others reach Run
	come []Delivery
	load bool
	held map[string]string // way -> why
	hurt []Trouble         // not told to the operators yet
	// waiting is how many deliveries are not sent, oldest when the first was made.
	waiting int
	oldest  time.Time
	tally   map[string]Ended // by way

	// Of Run alone.
	jobs  map[string]*job
	holds map[string]time.Time // way -> next probe
	ended chan *job
	busy  map[string]int // in flight, by lane
}

func (q *Queue) init() {
	q.once.Do(func() {
		q.wake = make(chan struct{}, 1)
		q.load = true
		q.held = map[string]string{}
		if q.Log == nil {
			q.Log = slog.Default()
		}
		if q.Workers == 0 {
			q.Workers = 4
		}
	})
}

// hand passes something to Run.
func (q *Queue) hand(over func()) {
	q.init()
	q.mu.Lock()
	over()
	q.mu.Unlock()
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// Add hands over a delivery that has been created in the store.
func (q *Queue) Add(d Delivery) {
	q.hand(func() {
		q.come = append(q.come, d)
		q.count(&d) // one that could not be composed
	})
}

// Ended is how many deliveries by one way were sent, and how many given up.
type Ended struct{ Sent, Failed int }

// count counts a delivery that is over, with mu held.
func (q *Queue) count(d *Delivery) {
	e := q.tally[d.Way]
	switch d.State {
	case Sent:
		e.Sent++
	case Failed:
		e.Failed++
	}
	if q.tally == nil {
		q.tally = map[string]Ended{}
	}
	q.tally[d.Way] = e
}

// Tally is how many deliveries were sent and given up since the queue began, by way; each
// way that there is has its count.
func (q *Queue) Tally() map[string]Ended {
	q.mu.Lock()
	defer q.mu.Unlock()
	out := map[string]Ended{}
	for name := range q.Ways {
		out[name] = Ended{}
	}
	maps.Copy(out, q.tally)
	return out
}

// Reload makes Run look through the store for deliveries that it does not know.
func (q *Queue) Reload() { q.hand(func() { q.load = true }) }

// Held returns the ways that are held because our own configuration is at fault,
// and why.
func (q *Queue) Held() map[string]string {
	q.init()
	q.mu.Lock()
	defer q.mu.Unlock()
	return maps.Clone(q.held)
}

// ErrNoDelivery is returned by Retry for a key that the store does not hold, ErrTooLate for
// a message that is over and was for some minutes alone.
var (
	ErrNoDelivery = errors.New("no such delivery")
	ErrTooLate    = errors.New("it is too late to send this message")
)

// Retry puts a failed delivery back in the queue, or lets a waiting one go at
// once. One that is sent or in flight stays as it is.
func (q *Queue) Retry(ctx context.Context, key string) error {
	body, err := q.Store.Get(ctx, key)
	var d Delivery
	switch {
	case err == nil && body == nil:
		err = ErrNoDelivery
	case err == nil:
		err = json.Unmarshal(body, &d)
	}
	if err != nil {
		return fmt.Errorf("retrying %q: %w", key, err)
	}
	switch {
	case d.State == Sent || d.State == Sending:
		return nil
	case d.Secret() && d.over():
		return fmt.Errorf("retrying %q: %w", key, ErrTooLate)
	}
	d.State, d.NextTry, d.Failing, d.Late = Waiting, time.Time{}, time.Time{}, false
	if err := q.put(ctx, &d); err != nil {
		return fmt.Errorf("retrying %q: %w", key, err)
	}
	q.Add(d)
	return nil
}

func (q *Queue) put(ctx context.Context, d *Delivery) error {
	body, err := json.Marshal(d)
	if err != nil {
		return err
	}
	return q.Store.Replace(ctx, d.Key, body)
}

// Trouble is what went wrong in sending.
type Trouble struct {
	Way, To, Person string
	Key             string // of the delivery; "" where all that goes this way is held
	Why             string
	Late            bool // it is still tried
}

// NoticeCause begins the causes of notices to the operators: what happens to one is
// not another trouble.
const NoticeCause = "notice "

// note keeps a trouble for the operators.
func (q *Queue) note(t Trouble, cause string) {
	if strings.HasPrefix(cause, NoticeCause) {
		return
	}
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.hurt) < 1000 {
		q.hurt = append(q.hurt, t)
	}
}

// Troubles hands over what went wrong since it was asked last.
func (q *Queue) Troubles() []Trouble {
	q.init()
	q.mu.Lock()
	defer q.mu.Unlock()
	all := q.hurt
	q.hurt = nil
	return all
}

func (q *Queue) hold(way string, why error) {
	q.holds[way] = time.Now().Add(holdFor)
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.held[way] == "" {
		q.hurt = append(q.hurt, Trouble{Way: way, Why: page.Clean(why.Error(), 300)})
		q.Log.Error("all deliveries are held: our own configuration is at fault", "way", way, "error", why)
	}
	q.held[way] = page.Clean(why.Error(), 500)
}

func (q *Queue) release(way string) {
	delete(q.holds, way)
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.held[way] != "" {
		q.Log.Info("deliveries go out again", "way", way)
		delete(q.held, way)
	}
}

// Backlog is how many deliveries wait or are in flight, and when the oldest of
// them was made; zero where there is none.
func (q *Queue) Backlog() (n int, oldest time.Time) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.waiting, q.oldest
}
