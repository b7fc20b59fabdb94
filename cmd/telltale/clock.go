package main

import (
	"context"
	"time"

	"telltale/engine/stream/clock"
	"telltale/notify/people"
)

// wallClock publishes a tick each quarter of an hour, and first of all one for now.
func (a *app) wallClock(ctx context.Context) error {
	a.marks = nil // the lists are reckoned from the log's last tick
	defer a.suspect.Store(false)
	return clock.New(a.tick, a.tellClock).Run(ctx)
}

// tellClock tells the operator that ticks are held, or come again.
func (a *app) tellClock(suspect bool, off time.Duration) {
	a.suspect.Store(suspect)
	if suspect {
		a.logger.Error("clock suspect: the wall clock jumped; ticks are held until it is right again. If it is right now, restart the service",
			"jumped", off.Round(time.Second).String(), "wall", time.Now().UTC().Format(time.RFC3339))
		return
	}
	a.logger.Info("clock right again; ticks resumed")
}

// tick moves the clock to t. The lists that fall due by then are asked for first:
// after a crash in between they are asked for again, and made once.
func (a *app) tick(ctx context.Context, t time.Time) error {
	last, err := a.log.LastTick(ctx)
	if err != nil {
		return err
	}
	if err := a.lists(ctx, last, t); err != nil {
		return err
	}
	if t.Equal(last) {
		return nil
	}
	return a.log.PublishTick(ctx, t)
}

// lists asks for those that fall due by t; last is the log's last tick.
func (a *app) lists(ctx context.Context, last, t time.Time) error {
	if a.marks == nil && !last.IsZero() {
		_, a.marks = people.Turns(a.notify.Directory(), nil, last)
	}
	var turns []people.Turn
	turns, a.marks = people.Turns(a.notify.Directory(), a.marks, t)
	for _, turn := range turns {
		if err := a.log.PublishTurn(ctx, t, turn.Person, turn.Date); err != nil {
			return err
		}
	}
	return nil
}
