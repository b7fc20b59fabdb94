package service

import (
	"context"
	"time"

	"telltale/engine/reach"
	"telltale/engine/stranger"
	"telltale/rules"
)

// reached is how far the parts of the book reach in one partition, over the vehicles that
// somebody sees, as it was counted last.
type reached struct {
	parts []reach.Part
	book  *rules.Book // by which; nil before the first count
	seq   uint64      // of the last event folded then
	until time.Time
}

const (
	// countFor is for how long counts that took longer than countDear are given again,
	// whatever came: they take a look at each vehicle.
	countFor  = 30 * time.Second
	countDear = 10 * time.Millisecond
	// mostCounts is how many counts are kept, each for one who sees other vehicles.
	mostCounts = 16
)

// reach counts how far the parts of the book reach: once for a position of the log. A large
// partition takes long: it is folded on meanwhile.
func (w *worker) reach(q Question) []reach.Part {
	now, was := time.Now(), w.reached[q.Sees]
	if was.book != nil && was.book == w.fold.Book() && (was.seq == w.at.Seq || now.Before(was.until)) {
		return was.parts
	}
	a, seq, book := w.fleet(q), w.at.Seq, w.fold.Book()
	var c reach.Count
	w.each(a.Homes(""), func(home string) { a.Reach(home, &c) })
	is := reached{parts: c.Parts(), book: book, seq: seq}
	if time.Since(now) > countDear {
		is.until = now.Add(countFor)
	}
	if len(w.reached) >= mostCounts {
		clear(w.reached)
	}
	w.reached[q.Sees] = is
	return is.parts
}

// places lists where a task or rule stands or could not be judged.
func (w *worker) places(q Question) (out []reach.Place) {
	a := w.fleet(q)
	w.each(a.Homes(""), func(home string) { out = append(out, a.Reached(home, q.Rule)...) })
	return reach.Worst(out)
}

func (w *worker) strangers(q Question) []stranger.Vehicle { return w.fleet(q).Strangers() }

// merged makes one list of the partitions' parts.
func merged[T any](by func([]T) []T) func(context.Context, *Service, Question, []T) ([]T, error) {
	return func(_ context.Context, _ *Service, _ Question, parts []T) ([]T, error) { return by(parts), nil }
}
