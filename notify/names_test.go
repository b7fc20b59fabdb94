package notify

import (
	"slices"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/notify/delivery"
	"telltale/notify/people"
)

// A vehicle and its component are renamed while a message about them waits, and while
// someone is to be reminded. Both say the present names, and the answer, which comes under
// these, ends the reminders.
func TestRenamedWhileWaiting(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(keptSmall))
	if err != nil {
		t.Fatal(err)
	}
	m := &delivery.Memory{}
	n, _ := newNotifier(t, m, 1)
	n.SetDirectory(d)
	reg := &event.VehicleData{Name: "Bus 7", Kind: "minibus", People: []string{"ines"},
		Components: []event.ComponentDef{{Name: "transmission", Kind: "automatic transmission"}}}
	n.Register = func(id string) people.Vehicle {
		if id != "bus-07" {
			t.Errorf("asked for %q, which no record is kept under", id)
		}
		return VehicleOf(id, reg)
	}
	tick := func(when string) {
		t.Helper()
		if err := n.Tick(t.Context(), at(when)); err != nil {
			t.Fatal(err)
		}
	}
	raised := copperRaised()
	raised.Time = at("2031-02-19T22:00:00Z")
	if err := n.Handle(t.Context(), 1, Cause{Key: "c-1", Time: raised.Time}, outputs(raised)); err != nil {
		t.Fatal(err)
	}
	renamed := *reg
	renamed.Key, renamed.Was, renamed.Plate = "LK31-CTB", []string{"bus-07"}, "LK31 CTB"
	renamed.Components = []event.ComponentDef{{Name: "gearbox", Kind: "automatic transmission", Was: []string{"transmission"}}}
	reg = &renamed
	tick("2031-02-20T07:00:00Z")
	tick("2031-02-22T12:00:00Z") // the first reminder
	answered := raised
	answered.Vehicle, answered.First, answered.Component = "LK31-CTB", "bus-07", "gearbox"
	answered.Time = at("2031-02-23T12:00:00Z")
	out := changed(answered, alarm.NowAcknowledged, "caution", "caution", "acknowledged")
	if err := n.Handle(t.Context(), 2, Cause{Key: "c-2", Time: answered.Time}, out); err != nil {
		t.Fatal(err)
	}
	tick("2031-03-09T12:00:00Z")
	all, err := delivery.All(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	var told []string
	for _, d := range all {
		told = append(told, d.Time.Format("01-02 ")+d.Vehicle+": "+d.Subject)
	}
	slices.Sort(told)
	want := []string{"02-20 LK31-CTB: Look: Bus 7 gearbox, copper over baseline", "02-22 LK31-CTB: Look: Bus 7 gearbox, copper over baseline"}
	if !slices.Equal(told, want) {
		t.Errorf("told %q, want %q", told, want)
	}
}
