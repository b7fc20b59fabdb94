package main

import (
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream/wire"
)

// TestTurnsAreScoped has lists asked for by two people. What is published for each is what they
// hear of.
func TestTurnsAreScoped(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	files := replicaFiles(natsServer(t))
	files["vehicles.yaml"] = `vehicles:
  bus-00: {name: Bus 0, kind: minibus, meters: {odometer: distance}, tags: {depot: north}}
  bus-01: {name: Bus 1, kind: minibus, meters: {odometer: distance}, tags: {depot: south}}
`
	files["people.yaml"] = `people:
  ines: {mail: ines@larkfell.example, digest: "30 6 * * *"}
  tove: {mail: tove@larkfell.example, digest: "30 6 * * *"}
tell:
  north: {who: [ines], where: 'vehicle.tags.depot == "north"', when: digest}
  all: {who: [tove], when: digest}
`
	write(t, dir, files)
	f, err := loadFleet(dir)
	if err != nil {
		t.Fatal(err)
	}
	a, err := startApp(t.Context(), f, slog.New(slog.DiscardHandler), func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.stop() })
	if code, _, said := told(t, "adopt", dir); code != 0 {
		t.Fatal(said)
	}
	day := time.Date(2031, 1, 2, 0, 0, 0, 0, time.UTC)
	for i, km := range []float64{1000, 2100} {
		for _, v := range []string{"bus-00", "bus-01"} {
			at := day.AddDate(0, 0, i)
			ev := event.Event{ID: event.ID{Source: "/test", ID: fmt.Sprint(v, i)}, Kind: event.ReadingEvent, Vehicle: v, Time: at, Recorded: at,
				Data: &event.ReadingData{Meter: "odometer", Value: km, Unit: "km"}}
			if err := a.log.Publish(t.Context(), ev); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := a.lists(t.Context(), day.AddDate(0, 0, 1), day.AddDate(0, 0, 1).Add(7*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := a.svc.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	got := map[string][]string{}
	err = a.log.EachOutput(t.Context(), 1, "telltale.alarm.*", func(_ wire.Message, o engine.Output) error {
		if o.Turn != nil {
			for _, i := range o.Turn.Items {
				got[o.Turn.Digest] = append(got[o.Turn.Digest], i.Vehicle)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for reader := range got {
		slices.Sort(got[reader])
	}
	if want := map[string][]string{"ines": {"bus-00"}, "tove": {"bus-00", "bus-01"}}; !reflect.DeepEqual(got, want) {
		t.Errorf("the lists are of %v, want %v", got, want)
	}
}
