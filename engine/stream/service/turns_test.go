package service

import (
	"encoding/json"
	"reflect"
	"sync"
	"testing"
	"time"

	"telltale/engine/due"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// TestTurns: who waits for a partition has it while a long question is at work there, and
// the question goes on to its end.
func TestTurns(t *testing.T) {
	w := &worker{slow: make(chan struct{}, 1)}
	homes := make([]string, 400)
	visited, began := 0, make(chan bool)
	var wg sync.WaitGroup
	wg.Go(func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.each(homes, func(string) {
			if visited++; visited == 1 {
				close(began)
			}
			for from := time.Now(); time.Since(from) < 200*time.Microsecond; {
			}
		})
	})
	<-began
	w.mu.Lock()
	at := visited
	w.mu.Unlock()
	wg.Wait()
	if at == len(homes) {
		t.Error("the question let nobody in before its end")
	}
	if visited != len(homes) {
		t.Errorf("%d of %d were visited", visited, len(homes))
	}
	if len(w.slow) != 0 {
		t.Error("the question keeps others from theirs")
	}
}

// TestLongQuestions: a list of the whole fleet is what the vehicles' own are, the same for
// all who ask at once, and another one as soon as something is folded.
func TestLongQuestions(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, quiet)
	begin(t, l)
	days(t, l, 1, 14)
	caughtUp(t, s)
	mark, err := s.Mark(t.Context())
	if again, err2 := s.Mark(t.Context()); err != nil || err2 != nil || again != mark || len(mark) != 16 {
		t.Errorf("marks %q and %q (%v, %v)", mark, again, err, err2)
	}
	var one []due.Item
	for _, v := range aFleet() {
		list, err := Due.Of(t.Context(), s, Question{Vehicle: v})
		one = append(one, complete(t, list, err)...)
	}
	due.SortDue(one)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			if all, err := Due.Of(t.Context(), s, Question{}); err != nil || !reflect.DeepEqual(all, one) {
				t.Errorf("all: %v (%v)\none by one: %v", all, err, one)
			}
		})
	}
	wg.Wait()
	mine, err := Due.Of(t.Context(), s, Question{})
	if err != nil {
		t.Fatal(err)
	}
	mine[0].Vehicle = "mine" // of whoever asked
	if dueList(t, s)[0].Vehicle == "mine" {
		t.Error("who changes a list changes it for others")
	}
	send(t, l, reading("bus-11", 15, 4300))
	caughtUp(t, s)
	if now, err := s.Mark(t.Context()); err != nil || now == mark {
		t.Errorf("the mark stands at %q though something was folded (%v)", now, err)
	}
	if reflect.DeepEqual(dueList(t, s), one) {
		t.Error("the list stands though something was folded")
	}
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
