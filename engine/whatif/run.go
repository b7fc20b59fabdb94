package whatif

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/rules"
)

// Config says what to compare and how.
type Config struct {
	Old, New *rules.Book
	// Register are registrations to begin with, at the moment of the first event.
	Register []engine.Event
	OwnTicks bool // the file holds ticks (intake.Holds)
	// OwnBaselines: the file holds baselines of the fleet, so none are made.
	OwnBaselines bool
	Until        time.Time // go on ticking to this date; zero: no further than the file
	// Damaged is told of each line that cannot be read; an error from it ends the run.
	Damaged func(line int, reason error) error
	// Hears names the people who get a message at once for what one event brought,
	// each as often as they get one; nil for nobody. It is called for both books at
	// the same time, each with its own partition.
	Hears func(p *engine.Partition, out []engine.Output) []string
	// Each is told of each difference, in the order in which they are certain.
	Each func(Difference) error
}

// batchSize is how many events go from one goroutine to the next at once.
const batchSize = 256

// Run reads the events and folds them by both books, each in a goroutine of its own.
func Run(cfg Config, r io.Reader) (*Report, error) {
	run := &running{cfg: cfg, c: newComparer(cfg.New, cfg.Each)}
	books := [2]*rules.Book{cfg.Old, cfg.New}
	var in [2]chan []engine.Event
	var out [2]chan []outputs
	var group errgroup.Group
	stop := make(chan struct{})
	for s := range in {
		in[s], out[s] = make(chan []engine.Event, 4), make(chan []outputs, 4)
		f := &folder{p: engine.NewPartition(), hears: cfg.Hears}
		f.p.Apply(engine.Event{Kind: engine.BookEvent, Data: &engine.BookData{Hash: books[s].Hash, Book: books[s]}})
		if !cfg.OwnBaselines {
			f.p.SurveyMonthly()
		}
		run.folds[s] = f
		group.Go(func() error { f.work(in[s], out[s], stop); return nil })
	}
	group.Go(func() error { return run.read(r, in, stop) })
	err := run.compare(out)
	close(stop)
	if readErr := group.Wait(); err == nil && !errors.Is(readErr, errStopped) {
		err = readErr
	}
	if err == nil {
		err = run.c.end()
	}
	if err != nil {
		return nil, err
	}
	return run.report(), nil
}

// running is one run. events, damaged, first and last belong to the reader until
// it has ended, the rest to the comparing side.
type running struct {
	cfg             Config
	folds           [2]*folder
	events, damaged int
	first, last     time.Time

	c      *comparer
	sums   Report
	people map[string][2]int
}

var errStopped = errors.New("stopped")

// read makes batches of the file's events and of the ticks that they pass.
func (r *running) read(from io.Reader, in [2]chan []engine.Event, stop <-chan struct{}) error {
	defer close(in[Old])
	defer close(in[New])
	ticks := intake.NewTicks(r.cfg.OwnTicks)
	batch := make([]engine.Event, 0, batchSize)
	send := func(evs ...engine.Event) error {
		batch = append(batch, evs...)
		if len(batch) < batchSize {
			return nil
		}
		full := batch
		batch = make([]engine.Event, 0, batchSize)
		return hand(full, in, stop)
	}
	err := intake.ReadFile(from, func(line int, ev engine.Event, err error) error {
		r.events++
		if err != nil {
			r.damaged++
			return r.cfg.Damaged(line, err)
		}
		if err := r.begin(ev, send); err != nil {
			return err
		}
		return send(append(ticks.Before(ev), ev)...)
	})
	if err == nil && !r.cfg.Until.IsZero() {
		err = send(ticks.Until(r.cfg.Until)...)
	}
	if err != nil {
		return err
	}
	return hand(batch, in, stop)
}

// begin notes the time of the event and, at the first one, registers the vehicles.
func (r *running) begin(ev engine.Event, send func(...engine.Event) error) error {
	if ev.Recorded.After(r.last) {
		r.last = ev.Recorded
	}
	if !r.first.IsZero() {
		return nil
	}
	r.first = ev.Recorded
	for _, reg := range r.cfg.Register {
		reg, err := intake.At(reg, ev.Recorded)
		if err != nil {
			return fmt.Errorf("registering vehicle %q: %w", reg.Vehicle, err)
		}
		if err := send(reg); err != nil {
			return err
		}
	}
	return nil
}

// hand gives a batch to both sides.
func hand(batch []engine.Event, in [2]chan []engine.Event, stop <-chan struct{}) error {
	for s := range in {
		select {
		case in[s] <- batch:
		case <-stop:
			return errStopped
		}
	}
	return nil
}

// folder folds all events by one book.
type folder struct {
	p     *engine.Partition
	hears func(*engine.Partition, []engine.Output) []string
}

func (f *folder) work(in <-chan []engine.Event, out chan<- []outputs, stop <-chan struct{}) {
	defer close(out)
	for batch := range in {
		said := make([]outputs, len(batch))
		for i, ev := range batch {
			said[i].out = f.p.Apply(ev)
			if f.hears != nil && len(said[i].out) > 0 {
				said[i].heard = f.hears(f.p, said[i].out)
			}
		}
		select {
		case out <- said:
		case <-stop:
			return
		}
	}
}

// compare takes what both sides say, event by event.
func (r *running) compare(out [2]chan []outputs) error {
	r.people = map[string][2]int{}
	for {
		old, more := <-out[Old]
		newer, moreNew := <-out[New]
		if !more || !moreNew {
			return nil
		}
		for i := range old {
			r.sum(Old, old[i])
			r.sum(New, newer[i])
			if err := r.c.step(old[i].out, newer[i].out); err != nil {
				return err
			}
		}
	}
}

func (r *running) sum(s Side, o outputs) {
	for _, out := range o.out {
		switch {
		case out.Refused != nil:
			r.sums.Refused[s]++
		case out.NotJudged != nil:
			r.sums.NotJudged[s]++
		}
	}
	for _, person := range o.heard {
		n := r.people[person]
		n[s]++
		r.people[person] = n
	}
}

const month = 30 * 24 * time.Hour

// report is made when all goroutines have ended.
func (r *running) report() *Report {
	out := r.sums
	out.Events, out.Damaged, out.People = r.events, r.damaged, r.people
	p := r.folds[New].p
	out.Vehicles = len(p.Vehicles()) - len(p.Unregistered())
	last := r.last
	if r.cfg.Until.After(last) {
		last = r.cfg.Until
	}
	out.Months = float64(last.Sub(r.first)) / float64(month)
	for _, n := range slices.SortedFunc(maps.Values(r.c.counts), func(a, b *Count) int { return strings.Compare(a.Rule, b.Rule) }) {
		if hundreds := float64(out.Vehicles) / 100 * out.Months; hundreds > 0 {
			n.Per100 = [2]float64{float64(n.Raised[Old]) / hundreds, float64(n.Raised[New]) / hundreds}
		}
		out.Rules = append(out.Rules, *n)
	}
	return &out
}
