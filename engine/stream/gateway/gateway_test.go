package gateway_test

import (
	"fmt"
	"log/slog"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/service"
)

// What was sent is stored, what was sent before is counted, and what the service
// could not use comes back with its line.
func TestSend(t *testing.T) {
	quiet := slog.New(slog.DiscardHandler)
	srv := servertest.Embed(t, t.TempDir())
	log, err := stream.Open(t.Context(), srv.Conn(), stream.LogConfig{Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	svc, err := service.Start(t.Context(), log, service.Config{ClockFollowsEvents: true})
	if err != nil {
		t.Fatal(err)
	}
	defer svc.Stop()
	m, err := svc.Respond()
	if err != nil {
		t.Fatal(err)
	}
	defer m.Stop()
	nc, err := nats.Connect(srv.URL())
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	var events []event.Event
	for i, data := range []any{
		&event.VehicleData{Name: "Bus 7", Kind: "minibus", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}},
		&event.ReadingData{Meter: "odometer", Value: 5000, Unit: "km"},
		&event.ReadingData{Meter: "hobbs", Value: 1, Unit: "h"},
	} {
		kind := event.ReadingEvent
		if i == 0 {
			kind = event.VehicleEvent
		}
		at := time.Date(2031, 1, 1+i, 8, 0, 0, 0, time.UTC)
		events = append(events, event.Event{ID: event.ID{Source: "/gateway/3", ID: fmt.Sprint(i)}, Kind: kind, Vehicle: "bus-07",
			Time: at, Recorded: at, Data: data, Line: 10 + i})
	}
	for again := range 2 {
		s, err := gateway.Send(t.Context(), service.At{Conn: nc}, events...)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Known; got != again*len(events) {
			t.Errorf("%d events were known, want %d", got, again*len(events))
		}
		refused, err := s.Refused(t.Context())
		if err != nil || len(refused) != 1 || refused[0].Line != 12 {
			t.Errorf("refused %+v (%v), want that of line 12", refused, err)
		}
	}
}

// TestSendCorrected: an event that was refused is sent again at once, corrected and under
// the same identity. It is stored, and answered as of this sending.
func TestSendCorrected(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	log, err := stream.Open(t.Context(), srv.Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	svc, err := service.Start(t.Context(), log, service.Config{ClockFollowsEvents: true})
	if err != nil {
		t.Fatal(err)
	}
	defer svc.Stop()
	m, err := svc.Respond()
	if err != nil {
		t.Fatal(err)
	}
	defer m.Stop()
	at := time.Date(2031, 1, 1, 8, 0, 0, 0, time.UTC)
	one := func(kind event.Kind, data any) event.Event {
		return event.Event{ID: event.ID{Source: "/gateway/3", ID: kind.String()}, Kind: kind, Vehicle: "bus-07", Time: at, Recorded: at, Data: data}
	}
	vehicle := one(event.VehicleEvent, &event.VehicleData{Name: "Bus 7", Kind: "minibus", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}})
	for _, c := range []struct {
		data    event.ReadingData
		refused int
	}{{event.ReadingData{Meter: "hobbs", Value: 1, Unit: "h"}, 1}, {event.ReadingData{Meter: "odometer", Value: 5000, Unit: "km"}, 0}} {
		s, err := gateway.Send(t.Context(), service.At{Conn: srv.Conn()}, vehicle, one(event.ReadingEvent, &c.data))
		if err != nil {
			t.Fatal(err)
		}
		refused, err := s.Refused(t.Context())
		if err != nil || len(refused) != c.refused {
			t.Errorf("of %+v refused %+v (%v), want %d", c.data, refused, err, c.refused)
		}
	}
	have, err := service.QueryKnown(t.Context(), service.At{Conn: srv.Conn()}, "bus-07", []engine.KnownEvent{{ID: event.ID{Source: "/gateway/3", ID: "reading"}}})
	if err != nil || len(have) != 1 {
		t.Errorf("the corrected reading is known as %+v (%v)", have, err)
	}
}
