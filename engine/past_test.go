package engine_test

import (
	"encoding/json"
	"reflect"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/engine/intake"
	"telltale/rules"
	"telltale/rules/unit"
)

// A history goes beyond the record's bounds by what the log holds, tells each event
// once, and says nothing of what was refused.
func TestHistoryBeyondTheRecord(t *testing.T) {
	p := engine.NewPartition()
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte("book: 1\ntasks: {engine oil: {every: {distance: 10000 km}}, wash: {every: {time: 1 month}}}\n")}})
	if err != nil {
		t.Fatal(err)
	}
	p.Apply(event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: book.Hash, Book: book}})
	var past history.Past
	apply := func(line, id string) {
		ev, err := intake.Short(line, id, book.Units)
		if err != nil {
			t.Fatal(err)
		}
		past.Events = append(past.Events, ev)
		for _, o := range p.Apply(ev) {
			if o.Transition != nil {
				past.Transitions = append(past.Transitions, *o.Transition)
			}
			if o.Refused != nil {
				past.Refused = append(past.Refused, *o.Refused)
			}
		}
	}
	apply("2031-01-01 vehicle bus-07 minibus meter odometer", "v")
	day := time.Date(2031, 1, 2, 0, 0, 0, 0, time.UTC)
	const washes = 150
	for i := range washes {
		at := day.AddDate(0, 0, i).Format(time.DateOnly)
		apply(at+` service bus-07 "wash"`, "w"+at)
	}
	apply(`2031-06-30 service bus-07 "engine oil" odo 81000`, "oil")
	apply(`2031-06-30 service bus-07 "engine oil" odo 82000`, "oil") // a conflict: the first was used
	apply(`2031-07-01 service bus-07 "engine oil" on gearbox`, "nowhere")

	count := map[string]int{}
	list := history.Extend(p.History("bus-07"), past)
	for _, e := range list {
		count[e.What]++
		if e.Work != nil && e.Work.Component == "gearbox" {
			t.Error("what was refused is told")
		}
	}
	if count[history.WhatWork] != washes+1 {
		t.Errorf("%d works are told, %d were done", count[history.WhatWork], washes+1)
	}
	if kept := len(p.History("bus-07")); kept >= len(list) || kept < 90 {
		t.Errorf("%d of %d entries come from the record alone", kept, len(list))
	}
	again, err := json.Marshal(history.Extend(p.History("bus-07"), past))
	if first, err2 := json.Marshal(list); err != nil || err2 != nil || string(first) != string(again) {
		t.Errorf("asked again it tells something else: %v, %v", err, err2)
	}
	if history.Extend(p.History("bus-08"), past) != nil {
		t.Error("a vehicle that nobody registered has a history")
	}
}

// Known tells the same event again from another one under its name.
func TestKnown(t *testing.T) {
	p := engine.NewPartition()
	ev, err := intake.Short("2031-01-03 reading bus-07 odometer 81234 km", "r-1", unit.System{Distance: "km", Volume: "L"})
	if err != nil {
		t.Fatal(err)
	}
	p.Apply(ev)
	got := p.AskedBy(p.By).Known("bus-07", []engine.KnownEvent{{ID: event.ID{Source: "/case", ID: "r-1"}}, {ID: event.ID{Source: "/case", ID: "r-2"}}})
	want := []engine.KnownEvent{{ID: ev.ID, Digest: ev.Hash()}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if got := p.AskedBy(p.By).Known("bus-08", want); got != nil {
		t.Errorf("of another vehicle: %v", got)
	}
}
