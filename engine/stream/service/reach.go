package service

import (
	"context"

	"telltale/engine/reach"
	"telltale/engine/stream"
)

// reach counts how far the parts of the book reach. A large partition takes long: it is
// folded on meanwhile.
func (w *worker) reach(Question) []reach.Part {
	w.readAll()
	var c reach.Count
	w.each(w.fold.Homes(""), func(home string) { w.fold.Reach(home, &c) })
	return c.Parts()
}

func (w *worker) reached(q Question) (out []reach.Place) {
	w.readAll()
	w.each(w.fold.Homes(""), func(home string) { out = append(out, w.fold.Reached(home, q.Rule)...) })
	return reach.Worst(out)
}

// merged makes one list of the partitions' parts.
func merged[T any](by func([]T) []T) func(context.Context, *stream.Log, Question, []T) ([]T, error) {
	return func(_ context.Context, _ *stream.Log, _ Question, parts []T) ([]T, error) { return by(parts), nil }
}
