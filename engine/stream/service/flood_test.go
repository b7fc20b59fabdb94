package service

import (
	"fmt"
	"testing"

	"github.com/nats-io/nats.go"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/rules/unit"
)

// TestFlood has a log in which one vehicle reports 1,000 services and twice as many
// readings before the others report anything. The other partitions do not wait for it:
// they are at the end of the log while its own is on the way, and its record stays
// small.
func TestFlood(t *testing.T) {
	const services = 1_000
	l := benchServer(t)
	benchBook(t, l, bookText)
	flooded := stream.Partition("flood")
	fill(t, l, func(yield func(*nats.Msg) bool) {
		if !yield(inMsg(t, vehicle("flood"))) {
			return
		}
		for n := range services {
			at, km := start.AddDate(0, 0, n), float64(100*n)
			done := reported("flood", fmt.Sprintf("s-%d", n), event.ServiceEvent, at, &event.ServiceData{Tasks: []string{"oil"},
				Meters: map[string]unit.Quantity{"odometer": {Value: km, Unit: "km"}}})
			if !yield(inMsg(t, done)) || !yield(inMsg(t, reading("flood", n, km))) || !yield(inMsg(t, reading("flood", n+1, km+50))) {
				return
			}
		}
		for i := range 200 {
			name := fmt.Sprintf("bus-%d", i)
			if !yield(inMsg(t, vehicle(name))) || !yield(inMsg(t, reading(name, 1, 5000))) || !yield(inMsg(t, reading(name, 2, 6050))) {
				return
			}
		}
	})
	s := run(t, l, quiet)
	for p := range stream.Partitions {
		if p == flooded {
			continue
		}
		end, err := lastOf(t.Context(), l, p)
		if err == nil {
			err = s.worker(p).wait(t.Context(), end)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	own := s.worker(flooded)
	own.mu.Lock()
	at := own.at.Seq
	own.mu.Unlock()
	if end := own.target; at >= end {
		t.Errorf("the other partitions were done after the flooded one, which is at %d of %d", at, end)
	}
	if err := own.wait(t.Context(), own.target); err != nil {
		t.Fatal(err)
	}
	own.mu.Lock()
	defer own.mu.Unlock()
	record, err := own.fold.Encode("flood")
	if err != nil || len(record) > 64<<10 {
		t.Errorf("after %d services the record has %d bytes (%v)", services, len(record), err)
	}
}
