// Package entry enters what people type, by a service in this process. It asks what
// would follow, stores what would be taken, waits until that is folded, and says what
// became of it. A page has no thanks for an answer that nobody took.
package entry

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/service"
)

// Desk is where entries are taken.
type Desk struct {
	Service *service.Service
	Log     *stream.Log
}

// Patience is how long whoever entered something waits until it is folded.
const Patience = 2 * time.Second

// storing is how long an entry may take to be stored. A log that is full, or whose server is
// gone, is asked again and again: whoever waits hears of it sooner.
const storing = 5 * time.Second

// Looked is what would follow of entries for one vehicle.
type Looked struct {
	// Events are the entries, as they would be stored.
	Events []event.Event
	engine.Would
}

// Look asks what would follow of entries for one vehicle, in the units of whoever asks;
// nothing is stored. The vehicle may go by any of its names.
func (d Desk) Look(ctx context.Context, units []string, events ...event.Event) (Looked, error) {
	l := Looked{Events: append([]event.Event{}, events...)}
	home, err := d.home(ctx, events[0].Vehicle)
	q := service.Question{Vehicle: home, Units: append([]string{}, units...)}
	for i := range l.Events {
		if l.Events[i].Vehicle != home {
			l.Events[i].Vehicle = home
			l.Events[i] = intake.Renamed(l.Events[i])
		}
		text, wrong := intake.Encode(l.Events[i])
		err = cmp.Or(err, wrong)
		q.Entries = append(q.Entries, json.RawMessage(text))
	}
	if err != nil {
		return l, err
	}
	list, err := service.Would.Of(ctx, d.Service, q)
	switch {
	case err != nil:
		return l, fmt.Errorf("asking what would follow for %q: %w", home, err)
	case len(list) != 1 || len(list[0].Entries) != len(events):
		return l, fmt.Errorf("asking what would follow for %q: the answer is not that of the %d entries", home, len(events))
	}
	l.Would = list[0]
	return l, nil
}

// home is the name of the vehicle under which its record is kept.
func (d Desk) home(ctx context.Context, vehicle string) (string, error) {
	v, err := d.Service.RegisteredAs(ctx, vehicle)
	return cmp.Or(v.First, v.Vehicle, vehicle), err
}

// Refused is why one of the entries would not be taken; nil where all would.
func (l *Looked) Refused() *alarm.Refusal {
	for i := range l.Entries {
		if r := l.Entries[i].Refused; r != nil {
			return r
		}
	}
	return nil
}

// Known reports whether the record holds all of the entries already, so that nothing
// would follow.
func (l *Looked) Known() bool {
	for i := range l.Entries {
		if !l.Entries[i].Known {
			return false
		}
	}
	return true
}

// Doubts are the meter values that would not be believed, and why.
func (l *Looked) Doubts() (out []string) {
	for i := range l.Entries {
		out = append(out, l.Entries[i].Doubts...)
	}
	return out
}

// Lines are what follows of the entries, in words; of a sheet what it comes to in a
// sentence, since a page of its own says the rest. Stages are named in the reader's words.
func (l *Looked) Lines(words follows.Words) (out []string) {
	for i := range l.Events {
		ev := &l.Events[i]
		for _, n := range l.Entries[i].NotUsed {
			out = append(out, "not used: "+n.Refused)
		}
		d, sheet := ev.Data.(*event.SampleData)
		for _, line := range words.Of(ev, &l.Entries[i], l.Would, sheet && !d.ByHand()) {
			if rest, ok := strings.CutPrefix(line, ev.Vehicle+" "); ok { // a command says its key
				line = "the vehicle " + rest
			}
			out = append(out, line)
		}
	}
	return out
}

// Became is what became of entries.
type Became struct {
	// Looked is what follows of them, or the reason why they were not stored.
	Looked
	// Why is why they were refused; nil where they were taken.
	Why *alarm.Refusal
	// Before is what was entered under the identity of one of them already, and says something
	// else; then they were refused for it.
	Before *event.Event
	// Waiting: they are stored, and nobody has folded them in time.
	Waiting bool
}

// Enter stores entries for one vehicle, unless one would be refused, and waits until they
// are folded. What the record holds already is not stored again. An error says that they
// may not be stored; entered again, they are entered once.
func (d Desk) Enter(ctx context.Context, units []string, events ...event.Event) (b Became, err error) {
	if b.Looked, err = d.Look(ctx, units, events...); err != nil {
		return b, err
	}
	if err := d.sentBefore(ctx, units, &b); err != nil {
		return b, err
	}
	if b.Why = b.Looked.Refused(); b.Why != nil || b.Known() {
		return b, nil
	}
	soon, enough := context.WithTimeout(ctx, storing)
	defer enough()
	for i, ev := range b.Events {
		if b.Entries[i].Known {
			continue
		}
		if err := d.Log.Publish(soon, ev); err != nil {
			return b, fmt.Errorf("storing an entry: %w", err)
		}
	}
	within, cancel := context.WithTimeout(ctx, Patience)
	defer cancel()
	err = d.Service.Folded(within, b.Vehicle)
	if err != nil && errors.Is(within.Err(), context.DeadlineExceeded) && ctx.Err() == nil {
		b.Waiting = true
		return b, nil
	}
	if err != nil {
		return b, err
	}
	b.Why, err = d.refusedSince(ctx, units, b.Events)
	return b, err
}

// sentBefore looks for what was entered under the same identities already. A form that
// was sent twice says the same but for the moment: it is the first that counts.
func (d Desk) sentBefore(ctx context.Context, units []string, b *Became) error {
	events, again := append([]event.Event{}, b.Events...), false
	for i := range b.Entries {
		if e := &b.Entries[i]; !e.Known || e.Refused == nil {
			continue
		}
		stored, err := d.stored(ctx, b.Events[i])
		switch {
		case err != nil:
			return err
		case stored == nil:
		case sayTheSame(*stored, b.Events[i]):
			events[i], again = *stored, true
		default:
			b.Before = stored
		}
	}
	if !again {
		return nil
	}
	l, err := d.Look(ctx, units, events...)
	b.Looked = l
	return err
}

// stored is the event of the same identity in the log; nil where there is none.
func (d Desk) stored(ctx context.Context, ev event.Event) (*event.Event, error) {
	list, err := service.Entries.Of(ctx, d.Service, service.Question{Vehicle: ev.Vehicle, ID: ev.ID.ID})
	if err != nil {
		return nil, fmt.Errorf("looking for what was entered before: %w", err)
	}
	for _, e := range list {
		if old, err := intake.Decode(e.Event); err == nil && old.ID == ev.ID {
			return &old, nil
		}
	}
	return nil, nil
}

// sayTheSame reports whether two events differ in their moment alone.
func sayTheSame(a, b event.Event) bool {
	a.Time, a.Recorded = b.Time, b.Recorded
	one, err1 := intake.Encode(a)
	other, err2 := intake.Encode(b)
	return err1 == nil && err2 == nil && string(one) == string(other)
}

// refusedSince is why what was stored and folded is not in the record: something else
// came between. Nil where it is.
func (d Desk) refusedSince(ctx context.Context, units []string, events []event.Event) (*alarm.Refusal, error) {
	l, err := d.Look(ctx, units, events...)
	if err != nil || l.Known() {
		return nil, err
	}
	why := l.Refused()
	if why == nil {
		err = fmt.Errorf("an entry for %q is neither in the record nor refused", l.Vehicle)
	}
	return why, err
}
