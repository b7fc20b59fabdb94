package stream

import (
	"context"
	"sync"

	"telltale/engine/fleet"
	"telltale/rules"
)

// Shelf reads each book and each set of the fleet's baselines once for all
// partitions, which only read them. It is safe for concurrent use.
type Shelf struct {
	log   *Log
	mu    sync.Mutex
	books map[string]*rules.Book
	sets  map[string]*fleet.Set
}

// NewShelf is an empty one.
func NewShelf(l *Log) *Shelf {
	return &Shelf{log: l, books: map[string]*rules.Book{}, sets: map[string]*fleet.Set{}}
}

// Book is the book of that hash, compiled; nil for "".
func (s *Shelf) Book(ctx context.Context, hash string) (*rules.Book, error) {
	return shelved(&s.mu, s.books, hash, 8, func() (*rules.Book, error) { return s.log.Book(ctx, hash) })
}

// Baselines is the set of that hash; nil, and a line for the operator, where its
// text is gone: then nothing is judged by it, and the next survey makes another.
func (s *Shelf) Baselines(ctx context.Context, hash string) (*fleet.Set, error) {
	set, err := shelved(&s.mu, s.sets, hash, 4, func() (*fleet.Set, error) { return s.log.set(ctx, hash) })
	if gone, ok := err.(*goneError); ok {
		s.log.Logger.Error("fleet baselines missing; samples are not compared with the fleet until the next survey", "error", gone)
		return nil, nil
	}
	return set, err
}

// shelved is what is kept under a hash, read if need be. Partitions that lag may
// need some earlier ones, most of which are kept.
func shelved[T any](mu *sync.Mutex, kept map[string]*T, hash string, most int, read func() (*T, error)) (*T, error) {
	if hash == "" {
		return nil, nil
	}
	mu.Lock()
	defer mu.Unlock()
	if v := kept[hash]; v != nil {
		return v, nil
	}
	v, err := read()
	if err != nil {
		return nil, err
	}
	if len(kept) >= most {
		clear(kept)
	}
	kept[hash] = v
	return v, nil
}
