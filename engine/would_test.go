package engine_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
)

// TestWouldIsTheFold: what is said beforehand of an entry is what the fold then says of
// it, and asking leaves the record, and all that follows, as it was.
func TestWouldIsTheFold(t *testing.T) {
	book := load(t, orderRules)
	rapid.Check(t, func(rt *rapid.T) {
		events := shortEvents(rt, drawYear(rt), book)
		asked, never := engine.NewPartition(), engine.NewPartition()
		ticks := intake.NewTicks(false)
		asked.Apply(bookEvent(book))
		never.Apply(bookEvent(book))
		for _, ev := range append(events, pick(rt, events)...) {
			for _, tick := range ticks.Before(ev) {
				asked.Apply(tick)
				never.Apply(tick)
			}
			before := encoded(rt, asked)
			got := asked.Would("van-1", []event.Event{ev})
			if after := encoded(rt, asked); !bytes.Equal(before, after) {
				rt.Fatalf("asking what would follow of %s changed the record from\n%s\nto\n%s", ev.ID.ID, before, after)
			}
			out := asked.Apply(ev)
			if want := describe(never.Apply(ev)); describe(out) != want {
				rt.Fatalf("after asking, %s gives\n%s\nwithout it\n%s", ev.ID.ID, describe(out), want)
			}
			want := engine.WouldEntry{Event: ev.ID, Known: got.Entries[0].Known, TakenOut: got.Entries[0].TakenOut, Nothing: got.Entries[0].Nothing, Doubts: got.Entries[0].Doubts}
			for _, o := range out {
				switch {
				case o.Transition != nil:
					want.Follows = append(want.Follows, *o.Transition)
				case o.Refused != nil && o.Refused.Kept:
					want.NotUsed = append(want.NotUsed, *o.Refused)
				case o.Refused != nil:
					want.Refused = o.Refused
				}
			}
			if !reflect.DeepEqual(got.Entries, []engine.WouldEntry{want}) {
				rt.Fatalf("of %s it said\n%s\nand then came\n%s", ev.ID.ID, inJSON(got.Entries[0]), inJSON(want))
			}
		}
	})
}

func encoded(rt *rapid.T, p *engine.Partition) []byte {
	if len(p.Vehicles()) == 0 {
		return nil
	}
	text, err := p.Encode("van-1")
	if err != nil {
		rt.Fatal(err)
	}
	return text
}

func inJSON(v any) string {
	text, err := json.Marshal(v)
	return fmt.Sprint(string(text), err)
}

// TestWould asks after entries that are refused, known, taken out, doubted, and that
// stand on one another.
func TestWould(t *testing.T) {
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, orderRules)))
	for i, line := range []string{
		`2031-01-02 vehicle van-1 van meter odometer since 2029-03-01 component motor engine fluid oil capacity 6L`,
		`2031-01-05 reading van-1 odometer 48000`,
		`2031-01-06 reading van-1 odometer 48200`,
		`2031-01-07 reading van-1 odometer 48300`,
		`2031-01-08 void van-1 e-2`,
	} {
		p.Apply(short(t, fmt.Sprintf("e-%d", i), line))
	}
	w := p.Would("van-1", []event.Event{
		short(t, "e-1", `2031-01-05 reading van-1 odometer 48000`),
		short(t, "e-1", `2031-01-05 reading van-1 odometer 48001`),
		short(t, "e-2", `2031-01-06 reading van-1 odometer 48200`),
		short(t, "n-1", `2031-01-09 reading van-1 hobbs 12`),
		short(t, "n-2", `2031-01-09 reading van-1 odometer 485`),
		short(t, "n-3", `2031-01-10 service van-1 "engine oil" on motor odometer 48500`),
		short(t, "n-4", `2031-01-11 void van-1 n-3`),
		short(t, "n-5", `2031-01-12 void van-1 nothing`),
	})
	type entry struct {
		known, takenOut    bool
		nothing            bool
		refused            string
		class              event.RefusalClass
		doubts, parts, out int
	}
	want := []entry{
		{known: true},
		{known: true, refused: "conflict: event e-1 of /case is already recorded with different content", class: event.Conflict},
		{known: true, takenOut: true},
		{refused: `vehicle van-1 has no meter "hobbs"`},
		{doubts: 1, out: 1},
		{out: 1},
		{out: 1},
		{nothing: true},
	}
	for i, e := range w.Entries {
		got := entry{known: e.Known, takenOut: e.TakenOut, nothing: e.Nothing, doubts: len(e.Doubts), parts: len(e.NotUsed), out: len(e.Follows)}
		if e.Refused != nil {
			got.refused, got.class = e.Refused.Refused, e.Refused.Class
		}
		if got != want[i] {
			t.Errorf("entry %d: %+v, want %+v\n%s", i, got, want[i], inJSON(e))
		}
	}
	if len(w.Entries) != len(want) || len(w.Tasks) == 0 || len(w.Due) == 0 {
		t.Errorf("%d entries, %d tasks, %d due", len(w.Entries), len(w.Tasks), len(w.Due))
	}
	if w := p.Would("van-9", []event.Event{short(t, "n", `2031-01-09 reading van-9 odometer 485`)}); len(w.Entries) != 1 || w.Entries[0].Refused != nil || w.Tasks != nil {
		t.Errorf("of a vehicle that nobody registered: %s", inJSON(w))
	}
}
