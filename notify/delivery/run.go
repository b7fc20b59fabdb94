package delivery

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"
)

// job is a delivery that Run has in hand.
type job struct {
	Delivery
	err    error // of the last try
	late   bool  // by the last try it waits for so long that the operators hear of it
	flying bool
	lane   string // the server it goes to, as far as is known
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

// Run sends until ctx ends; it returns once all that was in flight has ended and
// is written down.
func (q *Queue) Run(ctx context.Context) {
	q.init()
	q.jobs, q.holds = map[string]*job{}, map[string]time.Time{}
	q.ended, q.busy = make(chan *job), map[string]int{}
	timer := time.NewTimer(0)
	defer timer.Stop()
	for stopping := ctx.Done(); ; {
		switch {
		case ctx.Err() == nil:
			q.takeIn(ctx)
			timer.Reset(q.launch(ctx))
		case q.flights() == 0:
			return
		default:
			stopping = nil // what flies is waited for
		}
		select {
		case j := <-q.ended:
			q.land(j)
		case <-q.wake:
		case <-timer.C:
		case <-stopping:
		}
	}
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
		stored, err := All(ctx, q.Store)
		if err != nil {
			q.Log.Error("reading deliveries", "error", err)
			time.AfterFunc(storeAgain, q.Reload)
		}
		come = append(stored, come...)
	}
	for _, d := range come {
		if old := q.jobs[d.Key]; old != nil && old.flying || d.over() {
			continue
		}
		if d.State == Sending { // by a process that is no more
			d.Unknown++
			d.State = Waiting
			q.Log.Warn("outcome unknown, possible duplicate", "delivery", d.Key, "to", d.To)
		}
		q.jobs[d.Key] = &job{Delivery: d, lane: q.lane(&d), stored: true}
	}
}

// launch starts every try that may start now and returns how long until the next.
func (q *Queue) launch(ctx context.Context) time.Duration {
	now, next := time.Now(), time.Hour
	blocked := map[string]bool{}
	jobs := slices.SortedFunc(maps.Values(q.jobs), (*job).before)
	q.mu.Lock()
	q.waiting, q.oldest = len(jobs), time.Time{}
	for _, j := range jobs {
		if q.oldest.IsZero() || j.Created.Before(q.oldest) {
			q.oldest = j.Created
		}
	}
	q.mu.Unlock()
	for _, j := range jobs {
		thread := j.Way + " " + j.Person + " " + j.Thread
		ahead := j.Thread != "" && blocked[thread]
		blocked[thread] = true
		if j.flying || ahead {
			continue
		}
		wait := max(j.NextTry.Sub(now), q.holds[j.Way].Sub(now))
		room := q.busy[j.lane] < q.Workers && q.flights() < maxFlights
		if _, held := q.holds[j.Way]; held && q.busy[j.Way] > 0 {
			room = false // one probe at a time
		}
		switch {
		case wait > 0:
			next = min(next, wait)
		case room:
			j.flying = true
			q.busy[j.lane]++
			go q.try(ctx, j)
		}
	}
	return next
}

// before orders what is sent: whoever waits to sign in has some minutes, else what was made
// first.
func (j *job) before(o *job) int {
	switch {
	case j.secret() && !o.secret():
		return -1
	case o.secret() && !j.secret():
		return 1
	}
	return j.order(&o.Delivery)
}

// try makes one try in a goroutine of its own and hands the job back.
func (q *Queue) try(ctx context.Context, j *job) {
	defer func() { q.ended <- j }()
	if !j.over() {
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
			j.settle(j.err, time.Now(), q.Ways[j.Way])
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
	way := q.Ways[d.Way].Sender
	if d.late(time.Now()) {
		return ErrTooLate // told as a failure that says nothing of the way
	}
	if way == nil {
		return &Failure{Class: Permanent, Err: fmt.Errorf("no way called %q", d.Way)}
	}
	return way.Send(ctx, d)
}

// land takes a job back after a try.
func (q *Queue) land(j *job) {
	j.flying = false
	q.busy[j.lane]--
	err := j.err
	defer func() { j.err, j.late = nil, false }()
	switch {
	case err != nil && failureOf(err).Class == Ours:
		q.hold(j.Way, err)
	case j.stored && (err == nil || failureOf(err).Class == Permanent):
		q.release(j.Way)
	case !q.holds[j.Way].IsZero():
		q.holds[j.Way] = time.Now().Add(holdFor) // a probe that told nothing
	}
	if j.State == Failed && err != nil || j.late {
		q.note(Trouble{Way: j.Way, To: j.To, Person: j.Person, Key: j.Key, Why: j.LastError, Late: j.State != Failed}, j.Cause)
	}
	switch {
	case err == nil:
	case j.State == Failed:
		q.Log.Error("delivery failed", "delivery", j.Key, "to", j.To, "error", j.LastError)
	case j.late:
		q.Log.Warn("delivery waits for long", "delivery", j.Key, "to", j.To, "since", j.Failing, "until", j.NextTry, "error", err)
	case failureOf(err).Class == Unknown:
		q.Log.Warn("outcome unknown, possible duplicate", "delivery", j.Key, "to", j.To, "error", err)
	case failureOf(err).Class == Temporary:
		q.Log.Info("delivery waits", "delivery", j.Key, "to", j.To, "until", j.NextTry, "error", err)
	}
	if j.stored && j.over() {
		q.mu.Lock()
		q.count(&j.Delivery)
		q.mu.Unlock()
		delete(q.jobs, j.Key)
	}
}

// lane is the server that a delivery goes to, as far as its way knows.
func (q *Queue) lane(d *Delivery) string {
	if lane := q.Ways[d.Way].Lane; lane != nil {
		return d.Way + " " + lane(d.To)
	}
	return d.Way
}
