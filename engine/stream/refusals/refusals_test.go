package refusals

import (
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) { quick.Main(m) }

// said are messages of ALARMS, one for each event from a sequence on: each an alarm and two
// refusals, of vehicles in turn.
func said(t *testing.T, l *stream.Log, from, to int) (refused []string) {
	t.Helper()
	start := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := from; i < to; i++ {
		b := alarm.Refusal{Refused: fmt.Sprint("no ", i), Vehicle: fmt.Sprintf("bus-%02d", i%3), Class: event.Conflict, Time: start}
		c := alarm.Refusal{Refused: fmt.Sprint("nor ", i), Vehicle: fmt.Sprintf("bus-%02d", i%3), Time: start}
		list, err := wire.Messages(1, uint64(i), []engine.Output{{Refused: &b}, {Transition: &alarm.Transition{Time: start, Vehicle: "a"}}, {Refused: &c}})
		if err != nil {
			t.Fatal(err)
		}
		for _, body := range list {
			m, err := wire.AlarmMsg(body, start)
			if err != nil {
				t.Fatal(err)
			}
			m.Subject = wire.AlarmSubject(i % 3)
			if err := l.Alarms.Store(t.Context(), m); err != nil {
				t.Fatal(err)
			}
		}
		refused = append(refused, b.Refused, c.Refused)
	}
	return refused
}

// all is what the pages hold, one behind the other.
func all(t *testing.T, k *Kept, q Query) (got []string, last Page) {
	t.Helper()
	for {
		p, err := k.Page(t.Context(), q)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range p.Lines {
			got = append(got, l.Refused)
		}
		if p.Next == "" {
			return got, p
		}
		if q.After = p.Next; len(p.Lines) != max(q.Limit, 1) {
			t.Fatalf("a page of %d lines, and another follows", len(p.Lines))
		}
	}
}

// TestPages reads pages of any length, of all and of one vehicle, before and after more was said.
func TestPages(t *testing.T) {
	quick.Beside(t)
	l, err := stream.Open(t.Context(), servertest.Embed(t, t.TempDir()).Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	k := Keep(l)
	if p, err := k.Page(t.Context(), Query{}); err != nil || !reflect.DeepEqual(p, Page{Reasons: map[event.RefusalClass]int{}}) {
		t.Errorf("of an empty log: %+v (%v)", p, err)
	}
	var want []string
	for _, to := range []int{30, 31, 90, 700} {
		want = append(want, said(t, l, len(want)/2, to)...)
		newest := slices.Clone(want[max(0, len(want)-Most):])
		slices.Reverse(newest)
		for _, size := range []int{7, 10, 2000} {
			got, last := all(t, k, Query{Limit: size})
			if !reflect.DeepEqual(got, newest) || last.Total != len(newest) || last.More != (len(want) > Most) ||
				!reflect.DeepEqual(last.Reasons, map[event.RefusalClass]int{event.Conflict: len(newest) / 2, Other: len(newest) / 2}) {
				t.Errorf("after %d, pages of %d: %d lines, want %d; %d in all, %v, more %t", to, size, len(got), len(newest), last.Total, last.Reasons, last.More)
			}
		}
		var ofOne []string
		for i := len(want) - 1; i >= max(0, len(want)-Most); i-- {
			if n := i / 2; n%3 == 1 && i%2 == 0 {
				ofOne = append(ofOne, fmt.Sprint("no ", n))
			}
		}
		if got, _ := all(t, k, Query{Limit: 11, Names: []string{"bus-99", "bus-01"}, Class: event.Conflict}); !reflect.DeepEqual(got, ofOne) {
			t.Errorf("after %d, conflicts of one vehicle: %q, want %q", to, got, ofOne)
		}
	}
	p, err := k.Page(t.Context(), Query{Limit: 1})
	if want := (alarm.Refusal{Refused: "nor 699", Vehicle: "bus-00", Seq: 699, Time: time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)}); err != nil || !reflect.DeepEqual(p.Lines[0].Refusal, want) || p.Lines[0].Key != "700.2" {
		t.Errorf("the latest: %+v (%v)", p.Lines, err)
	}
	fresh, err := Keep(l).Page(t.Context(), Query{Limit: 1})
	if err != nil || !reflect.DeepEqual(fresh, p) {
		t.Errorf("of another process: %+v (%v), want %+v", fresh, err, p)
	}
}
