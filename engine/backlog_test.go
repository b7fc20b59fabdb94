package engine_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
)

const backlogRules = `
book: 1
tasks:
  annual look:
    every: {time: 12 months}
    unknown history: from first reading
    cautions: [raised vehicle]
`

// counted folds an event and counts what it says of silence.
type counted struct {
	t *testing.T
	*engine.Partition
	silent []string
}

func (c *counted) fold(ev event.Event) {
	c.t.Helper()
	for _, o := range c.Apply(ev) {
		switch {
		case o.Refused != nil:
			c.t.Fatal(o.Refused.Refused)
		case o.Transition.Rule == "data: silent":
			c.silent = append(c.silent, fmt.Sprintf("%s %s %s", o.Transition.Time.Format("01-02T15:04"), o.Transition.Vehicle, o.Transition.Transition))
		}
	}
}

func (c *counted) short(format string, args ...any) {
	c.t.Helper()
	line := fmt.Sprintf(format, args...)
	ev, err := intake.Short(line, line, c.Book().Units)
	if err != nil {
		c.t.Fatal(err)
	}
	c.fold(ev)
}

// backlogFleet is a fleet that was read daily up to a day.
func backlogFleet(t *testing.T, vehicles, days int) *counted {
	c := &counted{t: t, Partition: engine.NewPartition()}
	c.Apply(bookEvent(load(t, backlogRules)))
	for v := range vehicles {
		c.short("2031-01-01 vehicle van-%d van meter odometer", v)
	}
	c.readings(vehicles, time.Date(2031, 1, 2, 6, 0, 0, 0, time.UTC), days)
	return c
}

func (c *counted) readings(vehicles int, from time.Time, days int) {
	c.t.Helper()
	for d := range days {
		at := from.AddDate(0, 0, d)
		for v := range vehicles {
			c.short("%s reading van-%d odometer %d", at.Format("2006-01-02T15:04"), v, 1000+at.YearDay()*50)
		}
	}
}

func (c *counted) tick(at string) {
	c.t.Helper()
	when, err := time.Parse("2006-01-02T15:04", at)
	if err != nil {
		c.t.Fatal(err)
	}
	c.fold(intake.Tick(when))
}

// A service that was off for 30 days, and the readings of 50 vehicles that its gateways
// kept: nobody is called silent while they come in, though ticks go on, and the one of
// which nothing came is a day later. So it is where the service starts again on the way.
func TestServiceWasOff(t *testing.T) {
	for _, restart := range []bool{false, true} {
		c := backlogFleet(t, 50, 30)
		c.tick("2031-01-31T07:00")
		c.tick("2031-03-02T07:00")
		if restart {
			c = reloaded(c)
		}
		c.readings(49, time.Date(2031, 2, 1, 6, 0, 0, 0, time.UTC), 15)
		c.tick("2031-03-02T07:15")
		c.readings(49, time.Date(2031, 2, 16, 6, 0, 0, 0, time.UTC), 15)
		c.tick("2031-03-03T07:00")
		c.tick("2031-03-03T07:15")
		if got := fmt.Sprint(c.silent); got != "[03-03T07:15 van-49 raised]" {
			t.Errorf("restart %v: %s", restart, got)
		}
	}
}

// reloaded is the partition after a start: as its records and its checkpoint have it.
func reloaded(c *counted) *counted {
	c.t.Helper()
	next := &counted{t: c.t, Partition: engine.NewPartition(), silent: c.silent}
	next.Restore(c.Now(), c.Book())
	next.Resume(c.Resumed())
	for _, v := range c.Vehicles() {
		text, err := c.Encode(v)
		if err != nil || !json.Valid(text) {
			c.t.Fatal(err)
		}
		if err := next.Load(v, text); err != nil {
			c.t.Fatal(err)
		}
	}
	return next
}
