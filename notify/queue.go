package notify

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"
)

// Queue sends what is stored. One goroutine, Run, owns the deliveries that wait;
// each way, and each receiver of webhooks, has workers of its own, so that a slow
// server holds up only what goes to it. Deliveries of one thread go out in the order
// they were made.
type Queue struct {
	Store Store
	Ways  map[string]Sender // by way; a delivery by another way fails
	// Workers is how many deliveries are in flight at once to one server; 4 where 0.
	Workers int
	Log     *slog.Logger // slog.Default where nil

	once sync.Once
	wake chan struct{}
	mu   sync.Mutex // guards the fields below, through which others reach Run
	come []Delivery
	load bool
	held map[string]string // way -> why
	hurt []trouble         // not told to the operators yet
	// waiting is how many deliveries are not sent, oldest when the first was made.
	waiting int
	oldest  time.Time

	// Of Run alone.
	jobs  map[string]*job
	holds map[string]time.Time // way -> next probe
	ended chan *job
	busy  map[string]int // in flight, by lane
}

// job is a delivery that Run has in hand.
type job struct {
	Delivery
	err    error // of the last try
	late   bool  // by the last try it waits for so long that the operators hear of it
	flying bool
	// stored is false while the store does not say what is so; then it is
	// written again before anything else happens to the delivery.
	stored bool
}

const (
	maxFlights = 64               // at once, to all servers together
	holdFor    = 5 * time.Minute  // between probes of a way that is held
	storeAgain = 10 * time.Second // after the store could not be written
	lastWords  = 2 * time.Second  // to write down how a try stands
)

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

func (q *Queue) poke() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// add hands over a delivery that has been created in the store.
func (q *Queue) add(d Delivery) {
	q.init()
	q.mu.Lock()
	q.come = append(q.come, d)
	q.mu.Unlock()
	q.poke()
}

// reload makes Run look through the store for deliveries that it does not know.
func (q *Queue) reload() {
	q.init()
	q.mu.Lock()
	q.load = true
	q.mu.Unlock()
	q.poke()
}

// Held returns the ways that are held because our own configuration is at fault,
// and why.
func (q *Queue) Held() map[string]string {
	q.init()
	q.mu.Lock()
	defer q.mu.Unlock()
	out := make(map[string]string, len(q.held))
	for w, why := range q.held {
		out[w] = why
	}
	return out
}

// Deliveries returns all deliveries that the store holds, oldest first.
func Deliveries(ctx context.Context, s Store) ([]Delivery, error) {
	var all []Delivery
	err := s.Each(ctx, func(key string, body []byte) error {
		var d Delivery
		if err := json.Unmarshal(body, &d); err != nil {
			return fmt.Errorf("reading delivery %q: %w", key, err)
		}
		all = append(all, d)
		return nil
	})
	slices.SortFunc(all, func(a, b Delivery) int { return a.order(&b) })
	return all, err
}

func (d *Delivery) order(o *Delivery) int {
	return cmp.Or(d.Created.Compare(o.Created), cmp.Compare(d.Seq, o.Seq), strings.Compare(d.Key, o.Key))
}

// ErrNoDelivery is returned by Retry for a key that the store does not hold.
var ErrNoDelivery = errors.New("no such delivery")

// Retry puts a failed delivery back in the queue, or lets a waiting one go at
// once. One that is sent or in flight stays as it is.
func (q *Queue) Retry(ctx context.Context, key string) error {
	all, err := Deliveries(ctx, q.Store)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(all, func(d Delivery) bool { return d.Key == key })
	if i < 0 {
		return fmt.Errorf("retrying %q: %w", key, ErrNoDelivery)
	}
	d := all[i]
	if d.State == Sent || d.State == Sending {
		return nil
	}
	d.State, d.NextTry, d.Failing, d.Late = Waiting, time.Time{}, time.Time{}, false
	if err := q.put(ctx, &d); err != nil {
		return fmt.Errorf("retrying %q: %w", key, err)
	}
	q.add(d)
	return nil
}

func (q *Queue) put(ctx context.Context, d *Delivery) error {
	body, err := json.Marshal(d)
	if err != nil {
		return err
	}
	return q.Store.Replace(ctx, d.Key, body)
}

// Run sends until ctx ends; it returns once all that was in flight has ended and
// is written down.
func (q *Queue) Run(ctx context.Context) {
	q.init()
	q.jobs, q.holds = map[string]*job{}, map[string]time.Time{}
	q.ended, q.busy = make(chan *job), map[string]int{}
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		if ctx.Err() == nil {
			q.takeIn(ctx)
			timer.Reset(q.launch(ctx))
		} else if q.flights() == 0 {
			return
		}
		select {
		case j := <-q.ended:
			q.land(j)
		case <-q.wake:
		case <-timer.C:
		case <-q.stopping(ctx):
		}
	}
}

// stopping is ctx's end while nothing is in flight; what flies is waited for.
func (q *Queue) stopping(ctx context.Context) <-chan struct{} {
	if ctx.Err() != nil && q.flights() > 0 {
		return nil
	}
	return ctx.Done()
}

func (q *Queue) flights() (n int) {
	for _, b := range q.busy {
		n += b
	}
	return n
}

// takeIn fetches what others handed over, and what the store holds.
func (q *Queue) takeIn(ctx context.Context) {
	q.mu.Lock()
	come, load := q.come, q.load
	q.come, q.load = nil, false
	q.mu.Unlock()
	if load {
		stored, err := Deliveries(ctx, q.Store)
		if err != nil {
			q.Log.Error("reading deliveries", "error", err)
			time.AfterFunc(storeAgain, q.reload)
		}
		come = append(stored, come...)
	}
	for _, d := range come {
		if old := q.jobs[d.Key]; old != nil && old.flying || d.State == Sent || d.State == Failed {
			continue
		}
		if d.State == Sending { // by a process that is no more
			d.Unknown++
			d.State = Waiting
			q.Log.Warn("outcome unknown, possible duplicate", "delivery", d.Key, "to", d.To)
		}
		q.jobs[d.Key] = &job{Delivery: d, stored: true}
	}
}

// launch starts every try that may start now and returns how long until the next.
func (q *Queue) launch(ctx context.Context) time.Duration {
	now, next := time.Now(), time.Hour
	blocked := map[string]bool{}
	jobs := q.inOrder()
	q.backlog(jobs)
	for _, j := range jobs {
		thread := j.Way + " " + j.Person + " " + j.Thread
		ahead := j.Thread != "" && blocked[thread]
		blocked[thread] = true
		if j.flying || ahead {
			continue
		}
		wait := max(j.NextTry.Sub(now), q.holds[j.Way].Sub(now))
		room := q.busy[j.lane()] < q.Workers && q.flights() < maxFlights
		if _, held := q.holds[j.Way]; held && q.busy[j.Way] > 0 {
			room = false // one probe at a time
		}
		switch {
		case wait > 0:
			next = min(next, wait)
		case room:
			j.flying = true
			q.busy[j.lane()]++
			go q.try(ctx, j)
		}
	}
	return next
}

func (q *Queue) backlog(jobs []*job) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.waiting, q.oldest = len(jobs), time.Time{}
	if len(jobs) > 0 {
		q.oldest = jobs[0].Created
	}
}

// Backlog is how many deliveries wait or are in flight, and when the oldest of
// them was made; zero where there is none.
func (q *Queue) Backlog() (n int, oldest time.Time) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.waiting, q.oldest
}

func (q *Queue) inOrder() []*job {
	all := make([]*job, 0, len(q.jobs))
	for _, j := range q.jobs {
		all = append(all, j)
	}
	slices.SortFunc(all, func(a, b *job) int { return a.order(&b.Delivery) })
	return all
}

// try makes one try in a goroutine of its own and hands the job back.
func (q *Queue) try(ctx context.Context, j *job) {
	defer func() { q.ended <- j }()
	done := j.State == Sent || j.State == Failed
	if !done {
		before, tries := j.State, j.Attempts // the rest of the delivery is read by Run meanwhile
		j.State = Sending
		j.Attempts++
		if err := q.write(ctx, &j.Delivery); err != nil {
			// Nothing was sent, so nothing is unknown.
			j.State, j.Attempts = before, tries
			j.again(err, q.Log)
			return
		}
		if ctx.Err() != nil {
			j.State, j.Attempts = before, tries // nor here
		} else {
			j.err = q.send(ctx, j.Delivery)
			known := j.Late
			j.settle(j.err, time.Now())
			j.late = j.Late && !known
		}
	}
	if err := q.write(ctx, &j.Delivery); err != nil {
		j.again(err, q.Log)
		return
	}
	j.stored = true
}

// write stores the delivery even while stopping: who takes over must not find a try
// whose end was known, or that never began, as one with no known end.
func (q *Queue) write(ctx context.Context, d *Delivery) error {
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastWords)
	defer cancel()
	return q.put(last, d)
}

// again has the store written later.
func (j *job) again(err error, log *slog.Logger) {
	j.stored, j.NextTry = false, time.Now().Add(storeAgain)
	log.Error("writing delivery", "delivery", j.Key, "error", err)
}

func (q *Queue) send(ctx context.Context, d Delivery) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = &Failure{Class: Unknown, Err: fmt.Errorf("sending by %q: %v", d.Way, p)}
		}
	}()
	way := q.Ways[d.Way]
	if way == nil {
		return &Failure{Class: Permanent, Err: fmt.Errorf("no way called %q", d.Way)}
	}
	return way.Send(ctx, d)
}

// land takes a job back after a try.
func (q *Queue) land(j *job) {
	j.flying = false
	q.busy[j.lane()]--
	err := j.err
	defer func() { j.err, j.late = nil, false }()
	switch {
	case err != nil && classOf(err) == Ours:
		q.hold(j.Way, err)
	case j.stored && (err == nil || classOf(err) == Permanent):
		q.release(j.Way)
	case !q.holds[j.Way].IsZero():
		q.holds[j.Way] = time.Now().Add(holdFor) // a probe that told nothing
	}
	switch {
	case err == nil:
	case j.State == Failed:
		q.note(trouble{way: j.Way, to: j.To, person: j.Person, key: j.Key, why: j.LastError}, j.Cause)
		q.Log.Error("delivery failed", "delivery", j.Key, "to", j.To, "error", j.LastError)
	case j.late:
		q.note(trouble{way: j.Way, to: j.To, person: j.Person, key: j.Key, why: j.LastError, late: true}, j.Cause)
		q.Log.Warn("delivery waits for long", "delivery", j.Key, "to", j.To, "since", j.Failing, "until", j.NextTry, "error", err)
	case classOf(err) == Unknown:
		q.Log.Warn("outcome unknown, possible duplicate", "delivery", j.Key, "to", j.To, "error", err)
	case classOf(err) == Temporary:
		q.Log.Info("delivery waits", "delivery", j.Key, "to", j.To, "until", j.NextTry, "error", err)
	}
	if j.stored && (j.State == Sent || j.State == Failed) {
		delete(q.jobs, j.Key)
	}
}

// note keeps a trouble for the operators; what happens to a notice of one is not another.
func (q *Queue) note(t trouble, cause string) {
	if strings.HasPrefix(cause, noticeCause) {
		return
	}
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.hurt) < 1000 {
		q.hurt = append(q.hurt, t)
	}
}

// troubles hands over what went wrong since it was asked last.
func (q *Queue) troubles() []trouble {
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
		q.hurt = append(q.hurt, trouble{way: way, why: clean(why.Error(), 300)})
		q.Log.Error("all deliveries are held: our own configuration is at fault", "way", way, "error", why)
	}
	q.held[way] = clean(why.Error(), 500)
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
