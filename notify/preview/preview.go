// Package preview tells what people would have been told over a file of events. It is
// the service in small: one partition, one notifier, a store that ends with it, and
// nothing that sends.
package preview

import (
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/replay"
	"telltale/engine/sample"
	"telltale/notify"
	"telltale/notify/delivery"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/unit"
)

// Config is what a file of events is told by.
type Config struct {
	File    replay.File
	Book    *rules.Book
	People  *people.Directory
	Compose notify.Composer // of mails
}

// Told is a message as it would have been sent, with the page that a mail shows; ""
// for a message to a program.
type Told struct {
	delivery.Delivery
	HTML string
}

// Run folds the events that r holds and gives all that people would have been told,
// by time.
func Run(ctx context.Context, r io.Reader, c Config) ([]Told, error) {
	p := &preview{people: c.People, partition: c.File.Partition(c.Book), html: map[string]string{}}
	store := &delivery.Memory{}
	p.notifier = &notify.Notifier{
		Store: store, Partitions: 1, Log: slog.New(slog.DiscardHandler),
		Silent: func() map[string]bool { return notify.OutOfService(p.partition.Alarms()) },
		Sample: func(vehicle, component string, reads unit.System) []sample.Verdict {
			return p.partition.AskedBy(engine.Asker{Units: reads}).Verdicts(vehicle, component)
		},
		Register: func(id string) people.Vehicle { return notify.VehicleOf(id, p.partition.Registered(id)) },
		Compose: map[string]notify.Composer{people.Mail: func(m notify.Message) (string, []byte, error) {
			p.html[m.Key] = alone(m)
			return c.Compose(m)
		}},
	}
	p.notifier.SetDirectory(c.People)
	if _, err := p.notifier.Start(ctx); err != nil {
		return nil, err
	}
	if err := c.File.Each(r, func(ev event.Event) error { return p.take(ctx, ev) }); err != nil {
		return nil, err
	}
	list, err := delivery.All(ctx, store)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(list, func(a, b delivery.Delivery) int { return a.Time.Compare(b.Time) })
	var told []Told
	for _, d := range list {
		told = append(told, Told{d, p.html[d.Key]})
	}
	return told, nil
}

// alone is the message's page with its pictures in it, since a page of its own has no
// mail to take them from.
func alone(m notify.Message) string {
	html := m.HTML
	for _, c := range m.Charts {
		html = strings.ReplaceAll(html, "cid:"+c.ID, "data:image/png;base64,"+base64.StdEncoding.EncodeToString(c.PNG))
	}
	return html
}

// preview is a run on its way through a file.
type preview struct {
	people    *people.Directory
	partition *engine.Partition
	notifier  *notify.Notifier
	marks     map[string]string // how far each person's lists were looked at
	last      time.Time         // the last tick
	looked    time.Time         // until when lists were asked for
	seq       uint64
	html      map[string]string // by key
}

// take asks for the lists that fall due by an event, folds it, and moves the
// notifier's clock with a tick.
func (p *preview) take(ctx context.Context, ev event.Event) error {
	tick := ev.Kind == event.TickEvent
	now := ev.Recorded
	if tick {
		now = ev.Time
	}
	if err := p.lists(ctx, now); err != nil {
		return err
	}
	if tick {
		p.last = now
	}
	if err := p.fold(ctx, ev); err != nil || !tick {
		return err
	}
	return p.notifier.Tick(ctx, now)
}

// quarter is the step in which lists are looked for, as by the service's clock.
const quarter = 15 * time.Minute

// lists asks for the lists that fall due by a time. A list of the morning is made
// before what is reported later in the day, though a file's ticks are midnights.
func (p *preview) lists(ctx context.Context, now time.Time) error {
	now = now.Truncate(quarter)
	if p.last.IsZero() || !now.After(p.looked) {
		return nil
	}
	p.looked = now
	if p.marks == nil {
		_, p.marks = people.Turns(p.people, nil, p.last)
	}
	var turns []people.Turn
	turns, p.marks = people.Turns(p.people, p.marks, now)
	for _, turn := range turns {
		err := p.fold(ctx, event.Event{Kind: event.TurnEvent, Time: now, Recorded: now, Data: &event.TurnData{Digest: turn.Person, Date: turn.Date}})
		if err != nil {
			return err
		}
	}
	return nil
}

func (p *preview) fold(ctx context.Context, ev event.Event) error {
	out := p.partition.Apply(ev)
	if len(out) == 0 {
		return nil
	}
	p.seq++
	return p.notifier.Handle(ctx, p.seq, notify.CauseOf(fmt.Sprintf("0-%d-0", p.seq), 0, out), out)
}
