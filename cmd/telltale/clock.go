package main

import (
	"context"
	"time"

	"github.com/robfig/cron/v3"

	"telltale/notify"
)

// quarter is the step of the wall clock's ticks.
const quarter = 15 * time.Minute

// wallClock publishes a tick each quarter of an hour, and first of all one for now.
func (a *app) wallClock(ctx context.Context) error {
	if err := a.tick(ctx, time.Now().UTC().Truncate(quarter)); err != nil {
		return err
	}
	failed := make(chan error, 1)
	c := cron.New(cron.WithLocation(time.UTC))
	_, err := c.AddFunc("*/15 * * * *", func() {
		// Scheduled times come a little early or late; the tick is the quarter.
		if err := a.tick(ctx, time.Now().UTC().Round(quarter)); err != nil && ctx.Err() == nil {
			select {
			case failed <- err:
			default:
			}
		}
	})
	if err != nil {
		return err
	}
	c.Start()
	defer func() { <-c.Stop().Done() }()
	select {
	case <-ctx.Done():
		return nil
	case err := <-failed:
		return err
	}
}

// tick moves the clock to t. The lists that fall due by then are asked for first:
// after a crash in between they are asked for again, and made once.
func (a *app) tick(ctx context.Context, t time.Time) error {
	last, err := a.log.LastTick(ctx)
	if err != nil {
		return err
	}
	if a.marks == nil && !last.IsZero() {
		_, a.marks = notify.Turns(a.notify.Directory(), nil, last)
	}
	var turns []notify.Turn
	turns, a.marks = notify.Turns(a.notify.Directory(), a.marks, t)
	for _, turn := range turns {
		if err := a.log.PublishTurn(ctx, t, turn.Person, turn.Date); err != nil {
			return err
		}
	}
	if t.Equal(last) {
		return nil
	}
	return a.log.PublishTick(ctx, t)
}
