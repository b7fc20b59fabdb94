package engine_test

import (
	"maps"
	"testing"

	"telltale/engine"
	"telltale/engine/alarm"
)

// standingIn counts the alarms of all records, as ActiveAlarms says without reading them.
func standingIn(p *engine.Partition) map[alarm.Stage]int {
	out := map[alarm.Stage]int{"soon": 0, "due": 0, "overdue": 0, "advisory": 0, "caution": 0, "warning": 0}
	for _, a := range p.Alarms() {
		if a.To != alarm.Normal {
			out[a.To]++
		}
	}
	return out
}

func sameCounts(t *testing.T, where string, p *engine.Partition) {
	t.Helper()
	if got, want := p.ActiveAlarms(), standingIn(p); !maps.Equal(got, want) {
		t.Errorf("%s: %v, want %v", where, got, want)
	}
}

// countsKept checks that the alarms are counted as they stand, also after the records
// were stored, loaded and one of them loaded again, before and after they are read.
func countsKept(t *testing.T, p *engine.Partition) {
	t.Helper()
	sameCounts(t, "folded", p)
	again := engine.NewPartition()
	for _, v := range p.Vehicles() {
		for range 2 {
			b, err := p.Encode(v)
			if err != nil {
				t.Fatal(err)
			}
			if err := again.Load(v, b); err != nil {
				t.Fatal(err)
			}
		}
	}
	if got, want := again.ActiveAlarms(), p.ActiveAlarms(); !maps.Equal(got, want) {
		t.Errorf("stored: %v, want %v", got, want)
	}
	sameCounts(t, "loaded and read", again)
}
