package main

import (
	"context"
	"errors"
	"time"

	"golang.org/x/sync/errgroup"

	"telltale/engine"
	"telltale/engine/stream/service"
	"telltale/engine/stream/wire"
	"telltale/notify"
)

// tell hands the log of what was said to the notifier, from its checkpoint on, and
// sends what comes of it, until ctx ends.
func (a *app) tell(ctx context.Context, wrote wroteMail) error {
	store := a.log.Deliveries()
	queue := &notify.Queue{Store: store, Ways: a.ways(ctx, wrote), Log: a.logger}
	a.unsure.Store(false)
	a.notify.Store, a.notify.Queue = store, queue
	a.notify.Register = func(id string) notify.Vehicle { return a.vehicle(ctx, id) }
	a.notify.Silent = func() map[string]bool { return a.outOfService(ctx) }
	a.notify.Sample = func(vehicle, component string) []engine.Verdict { return a.verdicts(ctx, vehicle, component) }
	next, err := a.notify.Start(ctx)
	if err != nil {
		return err
	}
	if next, err = a.afterWentBack(ctx, next); err != nil {
		return err
	}
	if err := a.notify.Flush(ctx, next-1); err != nil { // whoever told before is fenced from here on
		return err
	}
	a.told.Store(next - 1)
	a.queue.Store(queue)
	defer a.queue.Store(nil)
	retry, err := a.answerRetry(queue)
	if err != nil {
		return err
	}
	g, life := errgroup.WithContext(ctx)
	g.Go(func() error { queue.Run(life); return nil })
	g.Go(func() error { return a.tellByClock(life) })
	g.Go(func() error { return a.tellNews(life, next) })
	g.Go(func() error { a.trimDaily(life, store); return nil })
	return errors.Join(g.Wait(), retry.Stop())
}

// afterWentBack is where to read on. A log of what was said that ends before the
// notifier's checkpoint went back: what follows its end is news.
func (a *app) afterWentBack(ctx context.Context, next uint64) (uint64, error) {
	last, err := a.log.LastOutput(ctx)
	if err != nil || next <= last+1 {
		return next, err
	}
	a.logger.Error("the log of what was said went back; people are told what follows", "read up to", next-1, "ends at", last)
	a.notify.Rewind(last)
	return last + 1, nil
}

func (a *app) tellNews(ctx context.Context, next uint64) error {
	err := a.log.Outputs(ctx, next, func(m wire.Message) error { return a.handle(ctx, m) })
	if ctx.Err() != nil {
		err = nil
	}
	if seq := a.told.Load(); err == nil && seq >= next && !a.unsure.Load() {
		flush, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		a.telling.Lock()
		defer a.telling.Unlock()
		err = a.notify.Flush(flush, seq)
	}
	return err
}

// tellByClock hands the log's ticks to the notifier, each once all that was in the
// log with it has been folded and told.
func (a *app) tellByClock(ctx context.Context) error {
	err := a.log.Ticks(ctx, func(t time.Time) error {
		if err := a.svc.CaughtUp(ctx); err != nil {
			return err
		}
		last, err := a.log.LastOutput(ctx)
		if err != nil {
			return err
		}
		if err := a.await(ctx, func() bool { return a.told.Load() >= last }); err != nil {
			return err
		}
		a.telling.Lock()
		defer a.telling.Unlock()
		if err := a.notify.Tick(ctx, t); err != nil {
			return err
		}
		if a.unsure.Load() {
			return ctx.Err()
		}
		a.ticked.Store(t.Unix())
		return nil
	})
	return unlessStopped(ctx, err)
}

// await looks again every few milliseconds until something is so.
func (a *app) await(ctx context.Context, so func() bool) error {
	for look := time.NewTicker(2 * time.Millisecond); !so(); {
		select {
		case <-ctx.Done():
			look.Stop()
			return ctx.Err()
		case <-look.C:
		}
	}
	return nil
}

// handle tells what one cause said.
func (a *app) handle(ctx context.Context, m wire.Message) error {
	a.telling.Lock()
	defer a.telling.Unlock()
	if len(m.Outputs) > 0 {
		if err := a.notify.Handle(ctx, m.Seq, cause(m), m.Outputs); err != nil {
			return err
		}
	}
	if a.unsure.Load() {
		return ctx.Err()
	}
	a.told.Store(m.Seq)
	return nil
}

// vehicle answers what the notifier may know of a vehicle. Who hears of it hangs on
// its tags and people, so a partition that is on its way from one replica to another
// is waited for; one that nobody folds for long is looked up in the log of events.
func (a *app) vehicle(ctx context.Context, id string) notify.Vehicle {
	for tries := 0; ctx.Err() == nil; tries++ {
		d, err := a.svc.Registered(ctx, id)
		if err != nil && tries >= 5 {
			d, err = a.log.LastRegistration(ctx, id)
		}
		if err == nil {
			return notify.VehicleOf(id, d)
		}
	}
	a.unsure.Store(true)
	return notify.VehicleOf(id, nil)
}

// verdicts reads a sample for the picture of a message, which goes without where the
// partition does not answer.
func (a *app) verdicts(ctx context.Context, vehicle, component string) []engine.Verdict {
	for tries := 0; ctx.Err() == nil && tries < 5; tries++ {
		if list, err := service.Samples.Of(ctx, a.svc, service.Question{Vehicle: vehicle, Component: component}); err == nil {
			return list
		}
	}
	return nil
}

// outOfService lists the vehicles whose alarms stand so. All partitions are waited
// for, since people are not to be reminded of what stands still.
func (a *app) outOfService(ctx context.Context) map[string]bool {
	for ctx.Err() == nil {
		if all, err := service.Alarms.Of(ctx, a.svc, service.Question{}); err == nil {
			return outOfService(all)
		}
	}
	a.unsure.Store(true)
	return nil
}

func outOfService(all []engine.Standing) map[string]bool {
	out := map[string]bool{}
	for _, s := range all {
		if s.Standing == "out of service" {
			out[s.Vehicle] = true
		}
	}
	return out
}
