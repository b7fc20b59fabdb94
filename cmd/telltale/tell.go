package main

import (
	"context"
	"time"

	"telltale/engine"
	"telltale/engine/stream"
)

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
func (a *app) handle(ctx context.Context, m stream.Message) error {
	a.telling.Lock()
	defer a.telling.Unlock()
	if len(m.Outputs) > 0 {
		if err := a.notify.Handle(ctx, m.Seq, cause(m), m.Outputs); err != nil {
			return err
		}
	}
	if m.Claim != nil {
		a.claims.Add(1)
	}
	a.told.Store(m.Seq)
	return nil
}

// outOfService lists the vehicles whose alarms stand so.
func (a *app) outOfService() map[string]bool { return outOfService(a.svc.Alarms()) }

func outOfService(all []engine.Standing) map[string]bool {
	out := map[string]bool{}
	for _, s := range all {
		if s.Standing == "out of service" {
			out[s.Vehicle] = true
		}
	}
	return out
}
