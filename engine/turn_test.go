package engine_test

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
)

// TestTurnsOfAMorning asks for lists again and again, each as what is due then is reckoned anew:
// after one another, and with something folded, loaded or put in force between.
func TestTurnsOfAMorning(t *testing.T) {
	p := engine.NewPartition()
	turns, seen := 0, map[string]bool{}
	turn := func() {
		for _, reader := range []string{"ines", "tove"} {
			turns++
			d := &event.TurnData{Digest: reader, Date: fmt.Sprint(turns)}
			want := &engine.TurnPart{Digest: reader, Date: d.Date, Now: p.Now(), Items: p.Due(due.Query{}), Alarms: p.Alarms(), Vehicles: len(p.Vehicles())}
			got := p.Apply(event.Event{Kind: event.TurnEvent, Data: d})
			if !reflect.DeepEqual(got, []engine.Output{{Turn: want}}) {
				t.Errorf("turn %d of %s has %s, want %s", turns, reader, dueLines(got[0].Turn.Items), dueLines(want.Items))
			}
			seen[dueLines(want.Items)] = true
		}
	}
	turn()
	p.Apply(bookEvent(load(t, dueRules)))
	turn()
	p.Apply(intake.Tick(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)))
	for i, line := range []string{
		`2031-01-02 vehicle van-1 van meter odometer tag depot=north since 2030-04-20`,
		`2031-01-03 service van-1 "engine oil" odometer 40000`,
		`2031-02-28 reading van-1 odometer 49500`,
		`2031-03-20 service van-1 "wash"`,
	} {
		p.Apply(short(t, fmt.Sprint(i), line))
		turn()
	}
	before, err := p.Encode("van-1")
	if err != nil {
		t.Fatal(err)
	}
	p.Apply(intake.Tick(time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC)))
	turn()
	if err := p.Load("van-1", before); err != nil {
		t.Fatal(err)
	}
	turn()
	p.Restore(time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC), nil)
	turn()
	if len(seen) < 5 {
		t.Errorf("the lists are all alike: %v", seen)
	}
}
