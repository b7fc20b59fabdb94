package main

import (
	"context"
	"time"
)

const (
	// quarter is the step of the wall clock's ticks.
	quarter = 15 * time.Minute
	// lookEvery is how often the wall is compared with the time that has elapsed.
	lookEvery = 30 * time.Second
	// suspectFrom is by how much they must differ for the wall to be suspect.
	suspectFrom = 10 * time.Minute
	// jitter is how far a clock that is being set may step back behind a tick.
	jitter = time.Minute
)

// machine is the clock of the machine.
type machine struct {
	wall    func() time.Time
	elapsed func() time.Duration // since some moment, whatever the wall is set to
}

// pacer makes ticks of the wall's time. While the wall is suspect it makes none,
// since a clock that is a year ahead would have everything due at once.
type pacer struct {
	machine
	tick func(context.Context, time.Time) error
	// tell is called when the wall becomes suspect, with how far it jumped, and
	// when it is right again.
	tell func(suspect bool, off time.Duration)

	last    time.Time // the last tick
	suspect bool
	// The wall and the elapsed time when they last agreed.
	agreedWall    time.Time
	agreedElapsed time.Duration
}

// run ends with ctx, or when a tick cannot be made.
func (p *pacer) run(ctx context.Context) error {
	p.agreedWall, p.agreedElapsed = p.wall(), p.elapsed()
	for {
		now := p.wall()
		if p.trusted(now) {
			if t := now.UTC().Truncate(quarter); p.due(now, t) {
				if err := p.tick(ctx, t); err != nil {
					return err
				}
				p.last = t
			}
		}
		next := now.Truncate(quarter).Add(quarter).Sub(now)
		select {
		case <-time.After(min(next, lookEvery)):
		case <-ctx.Done():
			return nil
		}
	}
}

// due reports whether t, the quarter that now is in, is to be a tick. A wall that
// was set back gives an earlier one.
func (p *pacer) due(now, t time.Time) bool {
	return t.After(p.last) || t.Before(p.last) && p.last.Sub(now) > jitter
}

// trusted compares the wall with the time that has elapsed since they agreed. A
// clock that drifts or is slewed moves little from one look to the next, one that
// is set to another day does not come back by itself.
func (p *pacer) trusted(now time.Time) bool {
	elapsed := p.elapsed()
	off := now.Round(0).Sub(p.agreedWall.Round(0)) - (elapsed - p.agreedElapsed)
	suspect := off.Abs() > suspectFrom
	if suspect != p.suspect {
		p.suspect = suspect
		p.tell(suspect, off)
	}
	if !suspect {
		p.agreedWall, p.agreedElapsed = now, elapsed
	}
	return !suspect
}
