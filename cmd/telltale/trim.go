package main

import (
	"context"
	"errors"
	"time"

	"telltale/engine/stream"
	"telltale/notify"
)

const (
	// keepSaid is how long what the partitions said is kept beyond what is still
	// needed: the history of a vehicle shows it, and an audit asks for three years.
	keepSaid = 3 * 366 * 24 * time.Hour
	// keepTold is how long a message to a person is kept after it was sent or given up.
	keepTold = 400 * 24 * time.Hour
)

// trimDaily takes what is old out of the logs of what was said and told, until ctx ends.
func (a *app) trimDaily(ctx context.Context, store *stream.Deliveries) {
	daily := time.NewTicker(24 * time.Hour)
	defer daily.Stop()
	for {
		if !a.suspect.Load() { // a wall that is years ahead would make everything old
			if err := a.trim(ctx, store, time.Now()); err != nil && ctx.Err() == nil {
				a.logger.Warn("trimming failed; retrying tomorrow", "error", err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-daily.C:
		}
	}
}

func (a *app) trim(ctx context.Context, store *stream.Deliveries, now time.Time) error {
	list, err := notify.Deliveries(ctx, store)
	told := 0
	for _, d := range list {
		if (d.State == notify.Sent || d.State == notify.Failed) && d.Created.Before(now.Add(-keepTold)) {
			err = errors.Join(err, store.Drop(ctx, d.Key))
			told++
		}
	}
	a.telling.Lock()
	saved := a.notify.Saved()
	a.telling.Unlock()
	said, err2 := a.log.TrimSaid(ctx, now.Add(-keepSaid), saved)
	if said > 0 || told > 0 {
		a.logger.Info("old messages trimmed", "said", said, "told", told)
	}
	return errors.Join(err, err2)
}
