package gateway

import (
	"context"
	"errors"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/record"
	"telltale/engine/stream/service"
)

// Homes lead from the other names of vehicles to the first ones, under which their records
// are kept.
type Homes map[string]string

// HomesOf asks a service for them. Where none answers there are none: what is sent is
// handed over when one does.
func HomesOf(ctx context.Context, at service.At) (Homes, error) {
	list, err := service.Renamed.From(ctx, at, service.Question{})
	if errors.Is(err, service.ErrNoService) {
		err = nil
	}
	h := Homes{}
	for _, n := range list {
		h[n.Name] = n.Is
	}
	return h, err
}

// Of is the event under the first name of its vehicle. A registration stays as it is, since
// it says how the vehicle is called.
func (h Homes) Of(ev event.Event) event.Event {
	if ev.Kind == event.VehicleEvent || h[ev.Vehicle] == "" {
		return ev
	}
	ev.Vehicle = h.Home(ev.Vehicle)
	return intake.Renamed(ev)
}

// Home is the first name of the vehicle that has or had one.
func (h Homes) Home(name string) string {
	return record.Home(name, func(n string) string { return h[n] })
}
