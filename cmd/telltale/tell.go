package main

import (
	"context"
	"fmt"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/stream"
	"telltale/engine/stream/service"
	"telltale/engine/stream/wire"
	"telltale/notify"
	"telltale/notify/people"
)

// fleetLog is the log of what the partitions say, and what they answer of vehicles, as
// telling asks it.
type fleetLog struct {
	*stream.Log
	svc *service.Service
}

// Outputs implements notify.Log.
func (s fleetLog) Outputs(ctx context.Context, from uint64, do func(uint64, notify.Cause, []engine.Output) error) error {
	return s.Log.Outputs(ctx, from, func(m wire.Message) error { return do(m.Seq, cause(m), m.Outputs) })
}

// Ticks implements notify.Log.
func (s fleetLog) Ticks(ctx context.Context, do func(time.Time) error) error {
	return s.Log.Ticks(ctx, func(t time.Time) error {
		if err := s.svc.CaughtUp(ctx); err != nil {
			return err
		}
		return do(t)
	})
}

// Vehicle implements notify.Fleet. Who hears of it hangs on its tags and people, so a
// partition that is on its way from one replica to another is waited for; one that
// nobody folds for long is looked up in the log of events.
func (s fleetLog) Vehicle(ctx context.Context, id string) (people.Vehicle, error) {
	for tries := 0; ctx.Err() == nil; tries++ {
		d, err := s.svc.Registered(ctx, id)
		if err != nil && tries >= 5 {
			d, err = s.LastRegistration(ctx, id)
		}
		if err == nil {
			return notify.VehicleOf(id, d), nil
		}
	}
	return notify.VehicleOf(id, nil), ctx.Err()
}

// Verdicts implements notify.Fleet.
func (s fleetLog) Verdicts(ctx context.Context, vehicle, component string) (list []sample.Verdict, err error) {
	for tries := 0; ctx.Err() == nil && tries < 5; tries++ {
		if list, err = service.Samples.Of(ctx, s.svc, service.Question{Vehicle: vehicle, Component: component}); err == nil {
			return list, nil
		}
	}
	return nil, err
}

// OutOfService implements notify.Fleet. All partitions are waited for, since people are
// not to be reminded of what stands still.
func (s fleetLog) OutOfService(ctx context.Context) (map[string]bool, error) {
	for ctx.Err() == nil {
		if all, err := service.Alarms.Of(ctx, s.svc, service.Question{}); err == nil {
			return notify.OutOfService(all), nil
		}
	}
	return nil, ctx.Err()
}

// AlarmsOf implements board.Fleet.
func (s fleetLog) AlarmsOf(ctx context.Context, vehicle string) ([]alarm.Listed, error) {
	return service.Alarms.Of(ctx, s.svc, service.Question{Vehicle: vehicle})
}

// Registered implements board.Fleet.
func (s fleetLog) Registered(ctx context.Context, vehicle string) (*event.VehicleData, error) {
	return s.svc.Registered(ctx, vehicle)
}

// Due implements board.Fleet.
func (s fleetLog) Due(ctx context.Context, q due.Query) ([]due.Item, error) {
	return service.Due.Of(ctx, s.svc, service.Question{Vehicle: q.Vehicle, Ahead: q.Ahead})
}

// cause names what made a message: the event's place in the log, the same however
// often it is folded.
func cause(m wire.Message) notify.Cause {
	key := fmt.Sprintf("%d-%d-%d", m.Epoch, m.Event, m.Partition)
	if m.Reconciled {
		key += fmt.Sprintf("-reconciled-%d", m.N)
	}
	return notify.CauseOf(key, m.Partition, m.Outputs)
}
