package stream

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

func transition(n int, size int) engine.Output {
	return engine.Output{Transition: &alarm.Transition{Time: start, Vehicle: "a", Rule: fmt.Sprintf("rule %d", n), Message: strings.Repeat("x", size)}}
}

func turn(items, alarms, size int) engine.Output {
	t := &engine.TurnPart{Digest: "ines", Date: "2031-01-01", Now: start, Vehicles: 7}
	for i := range items {
		t.Items = append(t.Items, due.Item{Vehicle: fmt.Sprintf("v%d", i), Why: strings.Repeat("y", size)})
	}
	for i := range alarms {
		t.Alarms = append(t.Alarms, alarm.Listed{Name: fmt.Sprintf("v%d", i), Since: start})
	}
	return engine.Output{Turn: t}
}

// TestMessages has outputs of many sizes go through the stream: each message fits,
// what is read is what was said, and a reader that begins in the middle of an
// event gets the whole of it.
func TestMessages(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	refused := engine.Output{Refused: &alarm.Refusal{Refused: "<why>", Vehicle: "a", Time: start}}
	for i, tt := range []struct {
		name     string
		out      []engine.Output
		messages int
	}{
		{"nothing", nil, 0},
		{"one", []engine.Output{transition(1, 10)}, 1},
		{"some", []engine.Output{transition(1, 10), refused, transition(2, 10)}, 1},
		{"not judged", []engine.Output{{NotJudged: &alarm.NotJudged{Rule: "r"}}}, 0},
		{"large ones", []engine.Output{transition(1, 300<<10), transition(2, 300<<10), transition(3, 300<<10), refused}, 2},
		{"a list", []engine.Output{turn(10, 3, 10)}, 1},
		{"a long list", []engine.Output{turn(5000, 100, 500)}, 4},
		{"an empty list", []engine.Output{turn(0, 0, 0)}, 1},
		{"a list between", []engine.Output{transition(1, 10), turn(900, 0, 1000), transition(2, 10)}, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := l.Alarms.Fence(fmt.Sprintf("telltale.alarm.%d", i))
			list, err := wire.Messages(1, 77, tt.out)
			if err != nil {
				t.Fatal(err)
			}
			if len(list) != tt.messages {
				t.Errorf("%d messages, want %d", len(list), tt.messages)
			}
			var last uint64
			for _, b := range list {
				m, err := wire.AlarmMsg(b, l.Events.S.CachedInfo().Created)
				if err != nil {
					t.Fatal(err)
				}
				if err := f.Publish(t.Context(), m); err != nil {
					t.Fatal(err)
				}
				last = f.Seq
			}
			if last == 0 {
				return
			}
			for _, from := range []uint64{last, last - uint64(len(list)) + 1} {
				got := outputsFrom(t, l, from, last)
				if !reflect.DeepEqual(got, tt.out) {
					t.Errorf("from %d to %d: %d outputs differ from the %d said", from, last, len(got), len(tt.out))
				}
			}
		})
	}
}

func outputsFrom(t *testing.T, l *Log, from, last uint64) (out []engine.Output) {
	t.Helper()
	end := errors.New("end")
	err := l.Outputs(t.Context(), from, func(m wire.Message) error {
		out = append(out, m.Outputs...)
		if m.Seq == last {
			return end
		}
		return nil
	})
	if err != end {
		t.Fatal(err)
	}
	return out
}

// TestUnfinished has an owner stop in the middle of an event, and one of another
// program find nothing more to say of it.
func TestUnfinished(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	f := l.Alarms.Fence("telltale.alarm.5")
	for _, s := range []string{
		`{"epoch":1,"seq":7,"n":0,"more":true,"outputs":[{"transition":{"rule":"one"}}]}`,
		`{"epoch":1,"seq":7,"n":1,"claim":{"owner":"x"}}`,
		`{"epoch":1,"seq":8,"n":0,"outputs":[{"transition":{"rule":"two"}}]}`,
	} {
		if err := f.Publish(t.Context(), &nats.Msg{Data: []byte(s)}); err != nil {
			t.Fatal(err)
		}
	}
	got := outputsFrom(t, l, 1, 3)
	if len(got) != 2 || got[0].Transition.Rule != "one" || got[1].Transition.Rule != "two" {
		t.Errorf("got %v", got)
	}
}

// TestOutputsEnd ends with its context.
func TestOutputsEnd(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := l.Outputs(ctx, 1, func(wire.Message) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want %v", err, context.Canceled)
	}
}

// TestRefusedWithin lists the refusals among the latest messages alone.
func TestRefusedWithin(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	f := l.Alarms.Fence("telltale.alarm.5")
	for n, o := range []engine.Output{transition(1, 10), {Refused: &alarm.Refusal{Refused: "one"}}, {Refused: &alarm.Refusal{Refused: "two"}}, {Refused: &alarm.Refusal{Refused: "three"}}} {
		list, err := wire.Messages(1, uint64(n+1), []engine.Output{o})
		if err != nil {
			t.Fatal(err)
		}
		m, err := wire.AlarmMsg(list[0], start)
		if err == nil {
			err = f.Publish(t.Context(), m)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		within uint64
		want   int
	}{{0, 0}, {2, 2}, {3, 3}, {refusedWithin, 3}} {
		n := 0
		if err := l.refusedWithin(t.Context(), tt.within, func(alarm.Refusal) error { n++; return nil }); err != nil || n != tt.want {
			t.Errorf("of the latest %d messages %d are refusals (%v), want %d", tt.within, n, err, tt.want)
		}
	}
}
