package follows

import (
	"reflect"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/rules"
	"telltale/rules/unit"
)

func TestLine(t *testing.T) {
	of := func(c alarm.Change, to alarm.Stage, task bool) *alarm.Transition {
		return &alarm.Transition{Rule: "engine oil", Component: "engine", Transition: c, To: to, Task: task, Message: "Due at 81,200 km"}
	}
	for _, c := range []struct {
		of   *alarm.Transition
		want string
	}{
		{of(alarm.Cleared, alarm.Normal, true), "engine oil (engine): OK, no longer due"},
		{of(alarm.Cleared, alarm.Normal, false), "engine oil (engine): OK again"},
		{of(alarm.Raised, alarm.Caution, false), "engine oil (engine): now caution: Due at 81,200 km"},
		{of(alarm.Worsened, alarm.Overdue, true), "engine oil (engine): now overdue: Due at 81,200 km"},
		{of(alarm.Eased, alarm.Soon, true), "engine oil (engine): eased to soon: Due at 81,200 km"},
		{of(alarm.Withdrawn, alarm.Normal, true), "engine oil (engine): withdrawn: Due at 81,200 km"},
		{of(alarm.NowAcknowledged, alarm.Due, true), "engine oil (engine): acknowledged, no more reminders"},
		{of(alarm.NowShelved, alarm.Due, true), "engine oil (engine): put aside, unless it becomes worse"},
		{of(alarm.Unshelved, alarm.Due, true), "engine oil (engine): back on the list"},
	} {
		if got := AsWritten.Line(c.of); got != c.want {
			t.Errorf("%s: got %q, want %q", c.of.Transition, got, c.want)
		}
	}
}

const oil = `book: 1
units: {distance: km, volume: L}
tasks:
  engine oil:
    title: Change the engine oil
    every: {distance: 10000 km}
    early: {distance: 1000 km}
    unknown history: from first reading
    follow up:
      leak check: {title: Look for leaks, within: {distance: 500 km}}
`

// What is said of an entry is what the fold makes of it.
func TestOf(t *testing.T) {
	start := time.Date(2031, 1, 1, 8, 0, 0, 0, time.UTC)
	on := func(day int, id string, k event.Kind, data any) event.Event {
		at := start.AddDate(0, 0, day)
		return event.Event{ID: event.ID{Source: "/test", ID: id}, Kind: k, Vehicle: "van-3", Time: at, Recorded: at, Data: data}
	}
	km := func(v float64) *event.ReadingData { return &event.ReadingData{Meter: "odometer", Value: v, Unit: "km"} }
	book, err := rules.Load([]rules.File{{Name: "oil.yaml", Text: []byte(oil)}})
	if err != nil {
		t.Fatal(err)
	}
	p := engine.NewPartition()
	p.Restore(start, book)
	p.Apply(on(0, "v", event.VehicleEvent, &event.VehicleData{Name: "Van 3", Kind: "van", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}}))
	p.Apply(on(0, "r0", event.ReadingEvent, km(120000)))
	for _, c := range []struct {
		ev   event.Event
		want []string
	}{
		{on(1, "r1", event.ReadingEvent, km(121000)), []string{"odometer 121,000 km recorded", "nothing is due"}},
		{on(60, "r2", event.ReadingEvent, km(129500)), []string{"odometer 129,500 km recorded",
			"engine oil: now soon: Change the engine oil: due at 130,000 km, in 500 km; the odometer reads 129,500 km", "soon: engine oil"}},
		{on(1, "w", event.ServiceEvent, &event.ServiceData{Tasks: []string{"engine oil"}, Meters: map[string]unit.Quantity{"odometer": {Value: 121000, Unit: "km"}}}),
			[]string{"engine oil: due next at 131,000 km", "leak check: due next at 121,500 km"}},
		{on(1, "a", event.AnswerEvent, &event.AnswerData{Answer: "out of service"}), []string{"van-3 is out of service; no messages about it until it is back in service"}},
		{on(1, "p", event.AnswerEvent, &event.AnswerData{Answer: "postpone", Task: "engine oil", ByDistance: &unit.Quantity{Value: 500, Unit: "km"}, Why: "parts"}),
			[]string{"engine oil: due next at 130,500 km"}},
	} {
		w := p.Would("van-3", []event.Event{c.ev})
		if got := AsWritten.Of(&c.ev, &w.Entries[0], w, false); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: got %q, want %q", c.ev.ID.ID, got, c.want)
		}
	}
}
