package service

import (
	"reflect"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/reach"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// What rules reach is counted anew when something came or the rules are others, and places
// are listed the worst first; strangers are none of the vehicles that rules reach.
func TestReach(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, quiet)
	adopt(t, l, "book: 1\nrules:\n  far: {on: reading, raise: odometer() > km(1000), stage: caution, say: Far, cautions: none}\n")
	send(t, l, vehicle("bus-01"), vehicle("bus-02"), reading("bus-01", 1, 10), reading("bus-02", 1, 5000), reading("bus-99", 2, 3))
	expect := func(want ...reach.Part) {
		t.Helper()
		caughtUp(t, s)
		for range 2 { // as counted, and as kept
			if got, err := Reach.Of(t.Context(), s, Question{}); err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("got %+v (%v), want %+v", got, err, want)
			}
		}
	}
	expect(reach.Part{Name: "far", Vehicles: 2, Stands: map[alarm.Stage]int{alarm.Caution: 1}})
	send(t, l, reading("bus-01", 4, 3000))
	expect(reach.Part{Name: "far", Vehicles: 2, Stands: map[alarm.Stage]int{alarm.Caution: 2}})
	adopt(t, l, "book: 1\nrules:\n  further: {on: reading, raise: odometer() > km(4000), stage: warning, say: Far. Stop, cautions: none}\n")
	expect(reach.Part{Name: "further", Vehicles: 2, Stands: map[alarm.Stage]int{alarm.Warning: 1}})
	list, err := Reached.Of(t.Context(), s, Question{Rule: "further"})
	if err != nil || len(list) != 1 || list[0].Vehicle != "bus-02" || list[0].Stage != alarm.Warning || list[0].Standing != alarm.Unacknowledged {
		t.Errorf("it stands on %+v (%v)", list, err)
	}
	strangers, err := Strangers.Of(t.Context(), s, Question{})
	if err != nil || len(strangers) != 1 || strangers[0].Vehicle != "bus-99" || strangers[0].Events != 1 {
		t.Errorf("strangers are %+v (%v)", strangers, err)
	}
}
