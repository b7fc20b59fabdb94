package service_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"time"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/service"
	"telltale/engine/stream/wire"
	"telltale/rules"
)

// A service of its own server: a book is adopted, a vehicle and its readings are
// published, and what the partitions say of them is read.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "telltale")
	check(err)
	defer os.RemoveAll(dir)
	quiet := slog.New(slog.DiscardHandler)

	srv, err := server.Embed(ctx, server.Config{Dir: dir, Listen: "127.0.0.1:-1", Log: quiet})
	check(err)
	defer srv.Close()
	log, err := stream.Open(ctx, srv.Conn(), stream.LogConfig{Log: quiet})
	check(err)
	svc, err := service.Start(ctx, log, service.Config{ClockFollowsEvents: true})
	check(err)
	defer svc.Stop()

	now := time.Date(2031, 1, 1, 8, 0, 0, 0, time.UTC)
	files := []rules.File{{Name: "oil.yaml", Text: []byte("book: 1\ntasks:\n  oil: {title: Change the oil, every: {distance: 1000 km}, unknown history: from first reading}\n")}}
	book, err := rules.Load(files)
	check(err)
	_, err = log.PublishBook(ctx, now, book, files)
	check(err)
	for i, data := range []any{
		&event.VehicleData{Name: "Bus 7", Kind: "minibus", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}},
		&event.ReadingData{Meter: "odometer", Value: 5000, Unit: "km"},
		&event.ReadingData{Meter: "odometer", Value: 6000, Unit: "km"},
	} {
		kind := event.ReadingEvent
		if i == 0 {
			kind = event.VehicleEvent
		}
		at := now.AddDate(0, 0, i)
		check(log.Publish(ctx, event.Event{ID: event.ID{Source: "/gateway/3", ID: fmt.Sprint(i)}, Kind: kind,
			Vehicle: "bus-07", Time: at, Recorded: at, Data: data}))
	}
	check(svc.CaughtUp(ctx))

	last, err := log.LastOutput(ctx)
	check(err)
	done := errors.New("all is read")
	err = log.Outputs(ctx, 1, func(m wire.Message) error {
		for _, o := range m.Outputs {
			if t := o.Transition; t != nil {
				fmt.Println(t.Time.Format(time.DateOnly), t.Vehicle, t.Rule, t.Transition, t.To)
			}
		}
		if m.Seq == last {
			return done
		}
		return nil
	})
	if !errors.Is(err, done) {
		check(err)
	}
	// Output: 2031-01-03 bus-07 oil raised due
}

func check(err error) {
	if err != nil {
		panic(err)
	}
}
