// Package whatif folds the same events by two books at once and tells how their
// alarms differ, so that a noisy rule is seen before it is adopted. What it keeps
// is bounded by the records of the vehicles and by what stands, not by the length
// of the file.
package whatif

import (
	"errors"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/replay"
	"telltale/rules"
)

// Side is which of the two books; it is an index.
type Side int

// The two books: the one in force, and the one that may replace it.
const (
	Old Side = iota
	New
)

// The differences between the alarms of the two books.
const (
	OnlyOld = "only old" // the new book raises no such alarm at that time
	OnlyNew = "only new"
	Earlier = "earlier" // the new book raises it earlier
	Later   = "later"
	Worse   = "worse" // raised at the same moment; the new book's worst stage is worse
	Milder  = "milder"
)

// Difference is one alarm, from raised to cleared, that the books do not agree on.
type Difference struct {
	Difference string `json:"difference"`
	Vehicle    string `json:"vehicle"`
	Component  string `json:"component,omitempty"`
	Rule       string `json:"rule"` // its name in the new book
	// OldRaised and NewRaised are when it was raised, OldStage and NewStage the worst
	// stages that it reached until it cleared.
	OldRaised time.Time   `json:"oldRaised,omitzero"`
	NewRaised time.Time   `json:"newRaised,omitzero"`
	OldStage  alarm.Stage `json:"oldStage,omitempty"`
	NewStage  alarm.Stage `json:"newStage,omitempty"`
	Message   string      `json:"message,omitempty"` // what was said at the worst stage, by the new book where it did
}

// Count is what one rule or task did by both books.
type Count struct {
	Rule string `json:"rule"`
	// Raised, Transitions and Per100 are by Old and New: alarms raised, all
	// transitions, and alarms raised for each 100 vehicles in a month.
	Raised      [2]int         `json:"raised"`
	Transitions [2]int         `json:"transitions"`
	Per100      [2]float64     `json:"per100"`
	Differences map[string]int `json:"differences,omitempty"` // by kind
}

// Report is the sum of it all.
type Report struct {
	Events   int     `json:"events"`
	Damaged  int     `json:"damaged"` // lines that could not be read
	Vehicles int     `json:"vehicles"`
	Months   float64 `json:"months"` // of 30 days, from the first to the last event
	Refused  [2]int  `json:"refused"`
	// NotJudged counts rules not judged for want of a fact.
	NotJudged [2]int            `json:"notJudged"`
	Rules     []Count           `json:"rules"`            // by name
	People    map[string][2]int `json:"people,omitempty"` // messages at once, by person
}

// outputs is what one event brings by one book.
type outputs struct {
	out   []engine.Output
	heard []string // people who get a message for it, once for each message
}

// Config says what to compare and how.
type Config struct {
	Old, New *rules.Book
	// File is how the file is folded.
	File replay.File
	// Hears names the people who get a message at once for what one event brought,
	// each as often as they get one; nil for nobody. It is called for both books at
	// the same time, each with its own partition.
	Hears func(p *engine.Partition, out []engine.Output) []string
	// Each is told of each difference, in the order in which they are certain.
	Each func(Difference) error
}

// batchSize is how many events go from one goroutine to the next at once, ahead how
// many batches one may be before the next: the books seldom take equally long over one.
const (
	batchSize = 256
	ahead     = 4
)

// Run reads the events and folds them by both books, each in a goroutine of its own.
func Run(cfg Config, r io.Reader) (*Report, error) {
	run := &running{cfg: cfg, c: newComparer(cfg.New, cfg.Each), sums: Report{People: map[string][2]int{}}}
	run.folds = [2]*engine.Partition{cfg.File.Partition(cfg.Old), cfg.File.Partition(cfg.New)}
	var batches [2]chan []event.Event
	var said [2]chan []outputs
	stop := make(chan struct{})
	var group errgroup.Group
	for side := range batches {
		batches[side], said[side] = make(chan []event.Event, ahead), make(chan []outputs, ahead)
		group.Go(func() error { run.fold(run.folds[side], batches[side], said[side], stop); return nil })
	}
	group.Go(func() error { return run.read(r, batches, stop) })
	err := run.compare(said)
	close(stop)
	if readErr := group.Wait(); err == nil {
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

// running is one run. events (those that could be read), damaged, first and last belong
// to the reader until it has ended, the rest to the comparing side.
type running struct {
	cfg             Config
	folds           [2]*engine.Partition
	events, damaged int
	first, last     time.Time

	c    *comparer
	sums Report
}

var errStopped = errors.New("stopped")

// read makes batches of the file's events and of the ticks that they pass.
func (r *running) read(from io.Reader, batches [2]chan []event.Event, stop <-chan struct{}) error {
	defer close(batches[Old])
	defer close(batches[New])
	hand := func(batch []event.Event) error {
		for _, side := range batches {
			select {
			case side <- batch:
			case <-stop:
				return errStopped
			}
		}
		return nil
	}
	batch := make([]event.Event, 0, batchSize)
	file := r.cfg.File
	file.Damaged = func(line int, reason error) error {
		r.damaged++
		return r.cfg.File.Damaged(line, reason)
	}
	err := file.Each(from, func(ev event.Event) error {
		r.note(ev)
		if batch = append(batch, ev); len(batch) < batchSize {
			return nil
		}
		full := batch
		batch = make([]event.Event, 0, batchSize)
		return hand(full)
	})
	if err != nil {
		return err
	}
	return hand(batch)
}

// note counts an event of the file, and keeps the first and the last time.
func (r *running) note(ev event.Event) {
	if ev.Line > 0 {
		r.events++
	}
	if r.first.IsZero() {
		r.first = ev.Recorded
	}
	if ev.Recorded.After(r.last) {
		r.last = ev.Recorded
	}
}

// fold folds the batches by one book.
func (r *running) fold(p *engine.Partition, batches <-chan []event.Event, said chan<- []outputs, stop <-chan struct{}) {
	defer close(said)
	for batch := range batches {
		out := make([]outputs, len(batch))
		for i, ev := range batch {
			out[i].out = p.Apply(ev)
			if r.cfg.Hears != nil && len(out[i].out) > 0 {
				out[i].heard = r.cfg.Hears(p, out[i].out)
			}
		}
		select {
		case said <- out:
		case <-stop:
			return
		}
	}
}

// compare takes what both sides say, event by event.
func (r *running) compare(said [2]chan []outputs) error {
	for old := range said[Old] {
		newer := <-said[New]
		for i := range old {
			r.sum(Old, old[i])
			r.sum(New, newer[i])
			if err := r.c.step(old[i].out, newer[i].out); err != nil {
				return err
			}
		}
	}
	return nil
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
		n := r.sums.People[person]
		n[s]++
		r.sums.People[person] = n
	}
}

const month = 30 * 24 * time.Hour

// report is made when all goroutines have ended.
func (r *running) report() *Report {
	out := r.sums
	out.Events, out.Damaged = r.events+r.damaged, r.damaged
	p := r.folds[New]
	out.Vehicles = len(p.Vehicles()) - len(p.AskedBy(p.By).Unregistered())
	last := r.last
	if until := r.cfg.File.Until; until.After(last) {
		last = until
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
