package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/rules/english"
)

// answerWithin is how long the partitions' owners have to answer, the time in
// which a partition is taken over from one that was stopped among it.
const answerWithin = 2 * time.Second

// Incomplete says which partitions did not answer in time. What comes with it
// lacks their vehicles.
type Incomplete struct{ Partitions []int }

func (i *Incomplete) Error() string {
	var names []string
	for _, p := range i.Partitions {
		names = append(names, fmt.Sprint(p))
	}
	what := "partitions "
	if len(names) == 1 {
		what = "partition "
	}
	return what + english.List("and", names) + " did not answer"
}

// scatter asks the partitions that the question is about, all at once, and puts
// their answers together in order of partition.
func scatter[T any](ctx context.Context, s *Service, in *Inquiry[T], q Question) ([]T, error) {
	from := partitionsOf(q)
	ctx, cancel := context.WithTimeout(ctx, q.within(in.name))
	defer cancel()
	answers, failed := make([][]T, len(from)), make([]error, len(from))
	var wg sync.WaitGroup
	for i, p := range from {
		wg.Go(func() {
			answers[i], failed[i] = askOwner(ctx, s, in, p, q)
		})
	}
	wg.Wait()
	list := slices.Concat(answers...)
	var missing []int
	for i, p := range from {
		if failed[i] != nil {
			missing = append(missing, p)
		}
	}
	if missing != nil {
		return list, &Incomplete{missing}
	}
	return list, nil
}

// partitionsOf gives the one with the vehicle that is asked about, or all.
func partitionsOf(q Question) (from []int) {
	if q.Vehicle != "" {
		return []int{stream.Partition(q.Vehicle)}
	}
	for p := range stream.Partitions {
		from = append(from, p)
	}
	return from
}

func (in *Inquiry[T]) ask(w *worker, q Question) ([]T, error) {
	if _, err := w.sees.Of(q.Sees); err != nil {
		return nil, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	list := in.part(w, q)
	if err := w.fold.Err(); err != nil && q.Sees != "" {
		return nil, errors.New("a stored record cannot be read; whoever runs the service can see which") // it may not be theirs
	}
	return list, w.fold.Err()
}

// askOwner asks this replica, where it has the partition, or another one: again and
// again while that is on its way from one to the other.
func askOwner[T any](ctx context.Context, s *Service, in *Inquiry[T], p int, q Question) ([]T, error) {
	for {
		if w := s.worker(p); w != nil {
			return in.ask(w, q)
		}
		try, cancel := context.WithTimeout(ctx, q.within(in.name))
		name := in.name
		if q.Sees != "" {
			name += seeing
		}
		list, err := listOn[T](try, s.log.Conn, partSubject(p)+"."+name, q)
		cancel()
		if err == nil {
			return list, nil
		}
		if ctx.Err() != nil {
			return nil, err
		}
		jet.Rest(ctx, 25*time.Millisecond)
	}
}

// seeing is behind the name of a question that says what may be seen: a replica whose program
// knows nothing of that must not answer it with everything.
const seeing = "-seen"

func partSubject(p int) string { return fmt.Sprintf("telltale.part.%d", p) }
