// Package clock makes the ticks of the wall's time by which a log of events moves
// on, and holds them while the wall cannot be trusted.
package clock

import (
	"context"
	"time"
)

// Quarter is the step of the ticks.
const Quarter = 15 * time.Minute

const (
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

// Pacer makes ticks of the wall's time. While the wall is suspect it makes none,
// since a clock that is a year ahead would have everything due at once.
type Pacer struct {
	machine
	tick func(context.Context, time.Time) error
	tell func(suspect bool, off time.Duration)

	last    time.Time // the last tick
	suspect bool
	// The wall and the elapsed time when they last agreed.
	agreedWall    time.Time
	agreedElapsed time.Duration
}

// New makes a pacer by the machine's clock. tick makes one tick; tell is called when
// the wall becomes suspect, with how far it jumped, and when it is right again.
func New(tick func(context.Context, time.Time) error, tell func(suspect bool, off time.Duration)) *Pacer {
	return &Pacer{machine: machineClock(), tick: tick, tell: tell}
}

// Run makes the ticks, and first of all one for now. It ends with ctx, or when a tick
// cannot be made.
func (p *Pacer) Run(ctx context.Context) error {
	p.agreedWall, p.agreedElapsed = p.wall(), p.elapsed()
	for {
		now := p.wall()
		if p.trusted(now) {
			if t := now.UTC().Truncate(Quarter); p.due(now, t) {
				if err := p.tick(ctx, t); err != nil {
					return err
				}
				p.last = t
			}
		}
		next := now.Truncate(Quarter).Add(Quarter).Sub(now)
		select {
		case <-time.After(min(next, lookEvery)):
		case <-ctx.Done():
			return nil
		}
	}
}

// due reports whether t, the quarter that now is in, is to be a tick. A wall that
// was set back gives an earlier one.
func (p *Pacer) due(now, t time.Time) bool {
	return t.After(p.last) || t.Before(p.last) && p.last.Sub(now) > jitter
}

// trusted compares the wall with the time that has elapsed since they agreed. A
// clock that drifts or is slewed moves little from one look to the next, one that
// is set to another day does not come back by itself.
func (p *Pacer) trusted(now time.Time) bool {
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
