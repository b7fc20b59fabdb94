package service

import (
	"context"
	"time"

	"telltale/engine/reach"
	"telltale/engine/stranger"
	"telltale/engine/stream"
	"telltale/rules"
)

// reached is how far the parts of the book reach in one partition, as it was counted last.
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
)

// reach counts how far the parts of the book reach: once for a position of the log. A large
// partition takes long: it is folded on meanwhile.
func (w *worker) reach(Question) []reach.Part {
	now := time.Now()
	if w.reached.book != nil && w.reached.book == w.fold.Book() && (w.reached.seq == w.at.Seq || now.Before(w.reached.until)) {
		return w.reached.parts
	}
	w.readAll()
	seq, book := w.at.Seq, w.fold.Book()
	var c reach.Count
	w.each(w.fold.Homes(""), func(home string) { w.fold.Reach(home, &c) })
	w.reached = reached{parts: c.Parts(), book: book, seq: seq}
	if time.Since(now) > countDear {
		w.reached.until = now.Add(countFor)
	}
	return w.reached.parts
}

// places lists where a task or rule stands or could not be judged.
func (w *worker) places(q Question) (out []reach.Place) {
	w.readAll()
	w.each(w.fold.Homes(""), func(home string) { out = append(out, w.fold.Reached(home, q.Rule)...) })
	return reach.Worst(out)
}

func (w *worker) strangers(Question) []stranger.Vehicle {
	w.readAll()
	return w.fold.Strangers()
}

// merged makes one list of the partitions' parts.
func merged[T any](by func([]T) []T) func(context.Context, *stream.Log, Question, []T) ([]T, error) {
	return func(_ context.Context, _ *stream.Log, _ Question, parts []T) ([]T, error) { return by(parts), nil }
}
