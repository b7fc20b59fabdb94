package stream

import (
	"fmt"
	"reflect"
	"slices"
	"testing"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// Read back from any place, in pages of any length, is what was said, the latest first.
func TestSaidBefore(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	if got, whole, err := l.SaidBefore(t.Context(), SaidAt{}, func(Said) bool { t.Error("something was said"); return true }); err != nil || !whole {
		t.Errorf("of an empty log: %v, %v, %v", got, whole, err)
	}
	var want []string
	refused := engine.Output{Refused: &alarm.Refusal{Refused: "no", Vehicle: "a", Time: start}}
	for i := range 700 {
		out := []engine.Output{transition(2*i, 10), refused, transition(2*i+1, 10)}
		want = append(want, fmt.Sprintf("rule %d", 2*i), fmt.Sprintf("rule %d", 2*i+1))
		list, err := wire.Messages(1, uint64(i+1), out)
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range list {
			b.Partition = i % 3
			m, err := wire.AlarmMsg(b, l.Events.S.CachedInfo().Created)
			if err == nil {
				m.Subject = wire.AlarmSubject(i % 3)
				err = l.Alarms.Store(t.Context(), m)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	slices.Reverse(want)
	for _, size := range []int{1400, 1399, 97} {
		var got []string
		for at, whole := (SaidAt{}), false; !whole; {
			n := 0
			var err error
			at, whole, err = l.SaidBefore(t.Context(), at, func(s Said) bool {
				got = append(got, s.Rule)
				n++
				return n < size
			})
			if err != nil {
				t.Fatal(err)
			}
			if at, ok := ParseSaidAt(at.String()); !ok {
				t.Fatalf("the place %v cannot be read again", at)
			}
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("pages of %d: %d transitions, want %d; the first are %.5q", size, len(got), len(want), got)
		}
	}
	for _, text := range []string{"", "x", "3", "3.-1", "-1.0"} {
		if at, ok := ParseSaidAt(text); ok {
			t.Errorf("%q is read as %v", text, at)
		}
	}
}

func TestSizes(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	if err := l.Alarms.Store(t.Context(), &nats.Msg{Subject: wire.AlarmSubject(0), Data: []byte(`{}`)}); err != nil {
		t.Fatal(err)
	}
	sizes, err := l.Sizes(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range sizes {
		got = append(got, fmt.Sprintf("%s %d %t %t", s.Stream, s.Messages, s.Bytes > 0, s.Last.IsZero()))
	}
	want := []string{"EVENTS 0 false true", "ALARMS 1 true false", "SAID 0 false true", "STATE 0 false true", "BOOKS 0 false true", "DELIVERIES 0 false true"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
