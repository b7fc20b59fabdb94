package stream

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/nats-io/nats.go/micro"

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
	if len(names) == 1 {
		return "partition " + names[0] + " did not answer"
	}
	return "partitions " + english.List("and", names) + " did not answer"
}

// scatter asks the partitions that the question is about, all at once, and puts
// their answers together in order of partition.
func scatter[T any](ctx context.Context, s *Service, in inquiry[T], q question) ([]T, error) {
	from := slices.Collect(partitionsOf(q))
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	answers, failed := make([][]T, len(from)), make([]bool, len(from))
	var wg sync.WaitGroup
	for i, p := range from {
		if w := s.worker(p); w != nil {
			var err error
			answers[i], err = in.ask(w, q)
			failed[i] = err != nil
			continue
		}
		wg.Go(func() {
			var err error
			answers[i], err = elsewhere(ctx, s, in, p, q)
			failed[i] = err != nil
		})
	}
	wg.Wait()
	var missing []int
	for i, p := range from {
		if failed[i] {
			missing = append(missing, p)
		}
	}
	if missing != nil {
		return slices.Concat(answers...), &Incomplete{missing}
	}
	return slices.Concat(answers...), nil
}

// partitionsOf gives the one with the vehicle that is asked about, or all.
func partitionsOf(q question) func(yield func(int) bool) {
	return func(yield func(int) bool) {
		for p := range Partitions {
			if (q.Vehicle == "" || Partition(q.Vehicle) == p) && !yield(p) {
				return
			}
		}
	}
}

func (in inquiry[T]) ask(w *worker, q question) ([]T, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	list := in.of(w, q)
	return list, w.fold.Err()
}

// elsewhere asks another replica, or this one once it has the partition: again and
// again while that is on its way from one to the other.
func elsewhere[T any](ctx context.Context, s *Service, in inquiry[T], p int, q question) ([]T, error) {
	for {
		if w := s.worker(p); w != nil {
			return in.ask(w, q)
		}
		try, cancel := context.WithTimeout(ctx, answerWithin)
		list, err := listOn[T](try, s.log.nc, partSubject(p)+"."+in.name, q)
		cancel()
		if err == nil {
			return list, nil
		}
		if ctx.Err() != nil {
			return nil, err
		}
		rest(ctx, 25*time.Millisecond)
	}
}

func partSubject(p int) string { return fmt.Sprintf("telltale.part.%d", p) }

// asked is an inquiry of whatever type.
type asked interface {
	reply(micro.Request, *worker, question) error
	called() string
}

func (in inquiry[T]) called() string { return in.name }

func (in inquiry[T]) reply(r micro.Request, w *worker, q question) error {
	list, err := in.ask(w, q)
	if err != nil {
		return err
	}
	return Reply(r, list)
}

// answerPart lets other replicas ask a partition that is folded here. All who
// listen get the question: one that was stopped and is missed by nobody yet keeps
// it from no other.
func (s *Service) answerPart(w *worker) (micro.Service, error) {
	m, err := micro.AddService(s.log.nc, micro.Config{
		QueueGroupDisabled: true,
		Name:               "telltale-partition", Version: "1.0.0", Description: "one partition of the vehicles",
		Metadata: map[string]string{"partition": fmt.Sprint(w.p), "owner": s.id},
	})
	if err != nil {
		return nil, fmt.Errorf("answering for partition %d: %w", w.p, err)
	}
	g := m.AddGroup(partSubject(w.p))
	for _, in := range []asked{dueInquiry, alarmsInquiry, whyInquiry, samplesInquiry, unregisteredInquiry, registeredInquiry, healthInquiry, historyInquiry, registerInquiry, knownInquiry} {
		h := func(r micro.Request, q question) error { return in.reply(r, w, q) }
		if err := g.AddEndpoint(in.called(), micro.HandlerFunc(answer(h))); err != nil {
			return nil, errors.Join(fmt.Errorf("answering for partition %d: %w", w.p, err), m.Stop())
		}
	}
	return m, nil
}
