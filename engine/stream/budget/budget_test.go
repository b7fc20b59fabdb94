package budget

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// asked is how often a question was reckoned, which takes a second.
type asked struct{ began, now, most atomic.Int32 }

func (a *asked) reckon(ctx context.Context) (int32, error) {
	n := a.began.Add(1)
	if now := a.now.Add(1); now > a.most.Load() {
		a.most.Store(now)
	}
	defer a.now.Add(-1)
	select {
	case <-time.After(time.Second):
		return n, nil
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}

// TestSameOnce: however many ask the same at the same mark, it is reckoned once, and kept
// for half a minute or until the mark is another one.
func TestSameOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b Budget
		var a asked
		all := func(mark string, want int32) {
			t.Helper()
			var wg sync.WaitGroup
			for range 10 {
				wg.Go(func() {
					if got, err := Do(t.Context(), &b, "due", mark, a.reckon); got != want || err != nil {
						t.Errorf("at %s: %d (%v), want the answer of reckoning %d", mark, got, err, want)
					}
				})
			}
			wg.Wait()
		}
		all("1", 1)
		time.Sleep(29 * time.Second)
		all("1", 1)
		all("2", 2)
		time.Sleep(31 * time.Second)
		if b.count() != 0 {
			t.Errorf("kept for more than half a minute: %v", b.kept)
		}
		all("2", 3)
		time.Sleep(time.Minute)
	})
}

// TestTwoAtOnce: of many questions two are worked on at once, and all are answered.
func TestTwoAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b Budget
		var a asked
		var wg sync.WaitGroup
		began := time.Now()
		for i := range 10 {
			mark := "1"
			if i%3 == 0 {
				mark = "" // of which nobody knows what it would be
			}
			wg.Go(func() {
				if _, err := Do(t.Context(), &b, fmt.Sprint(i), mark, a.reckon); err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		if a.most.Load() != 2 || a.began.Load() != 10 || time.Since(began) != 5*time.Second {
			t.Errorf("%d at once, %d in all, in %s", a.most.Load(), a.began.Load(), time.Since(began))
		}
		if b.count() > mostKept {
			t.Errorf("%d answers are kept", b.count())
		}
		time.Sleep(time.Minute)
	})
}

// TestWhoLeavesStopsNobody: the one whose question is worked on goes away, and the other
// has the answer; what failed is not kept.
func TestWhoLeavesStopsNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b Budget
		var a asked
		first, leave := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		wg.Go(func() {
			if _, err := Do(first, &b, "due", "1", a.reckon); !errors.Is(err, context.Canceled) {
				t.Errorf("who left has %v", err)
			}
		})
		time.Sleep(100 * time.Millisecond)
		wg.Go(func() {
			if got, err := Do(t.Context(), &b, "due", "1", a.reckon); got != 1 || err != nil {
				t.Errorf("who stayed has %d (%v)", got, err)
			}
		})
		time.Sleep(100 * time.Millisecond)
		leave()
		wg.Wait()
		bad := errors.New("bad")
		fail := func(context.Context) (int, error) { return 0, bad }
		if _, err := Do(t.Context(), &b, "alarms", "1", fail); !errors.Is(err, bad) {
			t.Errorf("what fails gives %v", err)
		}
		if _, ok := b.find("alarms", "1"); ok {
			t.Error("what failed is kept")
		}
		time.Sleep(time.Minute)
	})
}

// count is how many answers are kept.
func (b *Budget) count() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.kept)
}
