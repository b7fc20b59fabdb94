package delivery_test

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/notify/delivery"
)

// TestIndex makes, changes and drops deliveries at random. What the index gives in pages is what
// the store holds, whatever is asked for, and of an index that was there from the beginning as of
// one that is new.
func TestIndex(t *testing.T) {
	l, err := stream.Open(t.Context(), servertest.Embed(t, t.TempDir()).Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	store, x := l.Deliveries(), delivery.NewIndex(l.Deliveries())
	if p, err := x.Page(t.Context(), delivery.Query{}); err != nil || !reflect.DeepEqual(p, delivery.Page{States: map[delivery.State]int{}}) {
		t.Errorf("of an empty store: %+v (%v)", p, err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	states := []delivery.State{delivery.Waiting, delivery.Sending, delivery.Sent, delivery.Failed}
	for round := range 12 {
		if round == 6 {
			if err := store.SetCheckpoint(t.Context(), []byte("how far it is")); err != nil {
				t.Fatal(err)
			}
		}
		for range 20 {
			n := rng.IntN(60)
			d := delivery.Delivery{Key: fmt.Sprint("k", n), Person: fmt.Sprint("p", n%3), Way: "mail", Vehicle: fmt.Sprintf("bus-%02d", n%4), Raw: []byte("the mail"),
				State: states[rng.IntN(len(states))], Created: time.Date(2031, 1, 1, 0, n/2, 0, 0, time.UTC), Seq: uint64(n)}
			body, err := json.Marshal(d)
			if err != nil {
				t.Fatal(err)
			}
			made, err := store.Create(t.Context(), d.Key, body)
			switch {
			case err == nil && !made && n%5 == 0:
				err = store.Drop(t.Context(), d.Key)
			case err == nil && !made:
				err = store.Replace(t.Context(), d.Key, body)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		held, err := delivery.All(t.Context(), store)
		if err != nil {
			t.Fatal(err)
		}
		slices.Reverse(held)
		for _, q := range []delivery.Query{{Limit: 3}, {}, {Limit: 4, Person: "p1"}, {Limit: 5, State: delivery.Failed},
			{Limit: 2, Names: []string{"bus-09", "bus-02"}, State: delivery.Sent}, {Way: "webhook"}} {
			var want []delivery.Delivery
			counts := map[delivery.State]int{}
			for _, d := range held {
				if d.Raw = nil; q.Person != "" && d.Person != q.Person || q.Names != nil && !slices.Contains(q.Names, d.Vehicle) || q.Way != "" && d.Way != q.Way {
					continue
				}
				if counts[d.State]++; q.State == "" || d.State == q.State {
					want = append(want, d)
				}
			}
			for name, x := range map[string]*delivery.Index{"old": x, "new": delivery.NewIndex(l.Deliveries())} {
				got, last := allOf(t, x, q)
				if !reflect.DeepEqual(got, want) || last.Total != len(want) || !reflect.DeepEqual(last.States, counts) {
					t.Errorf("round %d, %s index, %+v: %d lines of %d, want %d; %v, want %v", round, name, q, len(got), last.Total, len(want), last.States, counts)
				}
			}
		}
	}
}

// allOf is what the pages hold, one behind the other.
func allOf(t *testing.T, x *delivery.Index, q delivery.Query) (got []delivery.Delivery, last delivery.Page) {
	t.Helper()
	for {
		p, err := x.Page(t.Context(), q)
		if err != nil {
			t.Fatal(err)
		}
		if got = append(got, p.Lines...); p.Next == "" {
			return got, p
		}
		if q.After = p.Next; len(p.Lines) != q.Limit {
			t.Fatalf("a page of %d lines, and another follows", len(p.Lines))
		}
	}
}
