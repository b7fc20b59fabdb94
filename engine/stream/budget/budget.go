// Package budget bounds what long questions cost a process: few at once, and the same one
// once.
package budget

import (
	"context"
	"fmt"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"
)

const (
	// atOnce is how many long questions are worked on at once. The next waits.
	atOnce = 2
	// keptFor is how long an answer is kept for others who ask the same.
	keptFor = 30 * time.Second
	// mostKept is how many answers are kept: one may have tens of megabytes.
	mostKept = 8
	// within is how long an answer may take, whoever waits for it.
	within = 50 * time.Second
)

// Budget shares out long questions. The zero Budget is ready; it must not be copied.
type Budget struct {
	flights singleflight.Group
	once    sync.Once
	slots   chan struct{}

	mu   sync.Mutex
	kept map[string]answer
}

type answer struct {
	mark  string
	value any
	until *time.Timer
}

// Do gives the answer to a question as of a mark, which is another one as soon as another
// answer may be right. reckon makes it: at most twice at the same time for all questions of
// the process, once for all who ask the same at the same mark, and not again for half a
// minute, while the mark stands. An empty mark shares nothing, and waits for its turn all
// the same. Who stops waiting stops no one else; reckon's own context ends after 50 s.
// Answers are shared, and not to be changed.
func Do[T any](ctx context.Context, b *Budget, question, mark string, reckon func(context.Context) (T, error)) (T, error) {
	if mark == "" {
		return inTurn(ctx, b, reckon)
	}
	if v, ok := b.find(question, mark); ok {
		return v.(T), nil
	}
	done := b.flights.DoChan(mark+" "+question, func() (any, error) {
		if v, ok := b.find(question, mark); ok { // made since this one looked
			return v, nil
		}
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), within)
		defer cancel()
		v, err := inTurn(ctx, b, reckon)
		if err == nil {
			b.keep(question, mark, v)
		}
		return v, err
	})
	select {
	case r := <-done:
		v, _ := r.Val.(T)
		return v, r.Err
	case <-ctx.Done():
		var none T
		return none, fmt.Errorf("waiting for the answer: %w", ctx.Err())
	}
}

// inTurn waits for a slot and reckons.
func inTurn[T any](ctx context.Context, b *Budget, reckon func(context.Context) (T, error)) (T, error) {
	b.once.Do(func() { b.slots = make(chan struct{}, atOnce) })
	select {
	case b.slots <- struct{}{}:
		defer func() { <-b.slots }()
		return reckon(ctx)
	case <-ctx.Done():
		var none T
		return none, fmt.Errorf("waiting for other long questions: %w", ctx.Err())
	}
}

func (b *Budget) find(question, mark string) (any, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	a, ok := b.kept[question]
	return a.value, ok && a.mark == mark
}

// keep keeps an answer in place of the one before to the same question.
func (b *Budget) keep(question, mark string, v any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.kept == nil {
		b.kept = map[string]answer{}
	}
	if old, ok := b.kept[question]; ok {
		old.until.Stop()
	} else if len(b.kept) >= mostKept {
		return
	}
	b.kept[question] = answer{mark, v, time.AfterFunc(keptFor, func() { b.forget(question, mark) })}
}

func (b *Budget) forget(question, mark string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.kept[question].mark == mark {
		delete(b.kept, question)
	}
}
