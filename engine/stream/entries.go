package stream

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/intake"
)

// Entry is an event of a vehicle as it lies in the log.
type Entry struct {
	Stored time.Time       `json:"stored"`
	Event  json.RawMessage `json:"event"` // the CloudEvent
	// TakenOut: a later void names it.
	TakenOut bool `json:"takenOut,omitempty"`

	seq uint64
	id  event.ID
}

// entered are the kinds of what people enter, of which an entry can be taken out.
var entered = []event.Kind{event.ServiceEvent, event.SampleEvent, event.MeterReplacedEvent, event.AnswerEvent, event.ReadingEvent}

// Entries are those of a vehicle by all its names whose id, or its beginning, is given,
// latest first; with none given the latest that people entered, no more than most: a
// gateway's readings are not among them.
func (l *Log) Entries(ctx context.Context, names []string, id string, most int) ([]Entry, error) {
	var out []Entry
	for _, name := range names {
		list, err := l.entriesUnder(ctx, name, id)
		if err != nil {
			return nil, err
		}
		out = append(out, list...)
	}
	slices.SortFunc(out, func(a, b Entry) int { return cmp.Compare(b.seq, a.seq) })
	seen := map[event.ID]bool{} // what was handed over lies in the log twice
	out = slices.DeleteFunc(out, func(e Entry) bool {
		again := seen[e.id]
		seen[e.id] = true
		return again
	})
	if slices.ContainsFunc(out, func(e Entry) bool { return e.id.ID == id }) {
		out = slices.DeleteFunc(out, func(e Entry) bool { return e.id.ID != id })
	}
	for _, name := range names {
		if err := l.markTakenOut(ctx, name, out); err != nil {
			return nil, err
		}
	}
	if id == "" {
		out = slices.DeleteFunc(out, func(e Entry) bool { return e.TakenOut })
	}
	return out[:min(len(out), most)], nil
}

func (l *Log) entriesUnder(ctx context.Context, vehicle, id string) (out []Entry, err error) {
	for _, kind := range entered {
		err := l.Events.Each(ctx, 1, eventSubject(vehicle, kind), func(m jetstream.Msg, seq uint64) error {
			ev, bad := intake.DecodeMessage(m.Subject(), m.Data())
			if bad != nil || id != "" && !strings.HasPrefix(ev.ID.ID, id) || id == "" && kind == event.ReadingEvent && !byHand(ev.ID.Source) {
				return nil
			}
			meta, err := m.Metadata()
			if err != nil {
				return fmt.Errorf("reading the log: %w", err)
			}
			out = append(out, Entry{Stored: meta.Timestamp.UTC(), Event: slices.Clone(m.Data()), seq: seq, id: ev.ID})
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// byHand reports whether people typed what comes from a source, as a command or into a page.
func byHand(source string) bool {
	return strings.HasPrefix(source, "/record") || event.Personal(source)
}

func (l *Log) markTakenOut(ctx context.Context, vehicle string, list []Entry) error {
	return l.Events.Each(ctx, 1, eventSubject(vehicle, event.VoidEvent), func(m jetstream.Msg, _ uint64) error {
		ev, bad := intake.DecodeMessage(m.Subject(), m.Data())
		if bad != nil {
			return nil
		}
		for i := range list {
			if list[i].id == event.ID(*ev.Data.(*event.VoidData)) {
				list[i].TakenOut = true
			}
		}
		return nil
	})
}

// Logged is one event of the log.
type Logged struct {
	Seq    uint64
	Stored time.Time
	Event  event.Event
	Text   []byte // the CloudEvent, on one line
	Err    error  // it cannot be read; then there is no event
}

// EachEvent hands over the events that came in, in the order of the log, and returns after
// the last one; with own also those that the service wrote itself.
func (l *Log) EachEvent(ctx context.Context, own bool, do func(Logged) error) error {
	pattern := "telltale.event.>"
	if own {
		pattern = "telltale.>"
	}
	return l.Events.Each(ctx, 1, pattern, func(m jetstream.Msg, seq uint64) error {
		meta, err := m.Metadata()
		if err != nil {
			return fmt.Errorf("reading the log: %w", err)
		}
		e := Logged{Seq: seq, Stored: meta.Timestamp}
		if strings.HasPrefix(m.Subject(), "telltale.all.") {
			e.Event, e.Err = intake.DecodeInternal(m.Subject(), m.Data())
		} else {
			e.Event, e.Err = intake.DecodeMessage(m.Subject(), m.Data())
		}
		if e.Err == nil {
			var line bytes.Buffer
			e.Err = json.Compact(&line, m.Data())
			e.Text = line.Bytes()
		}
		return do(e)
	})
}

// EachOf hands over the events of a vehicle in the order of the log, by the name that its
// record is kept under: what came under another one was handed over to it. What cannot be
// read is passed by; it is among the refusals.
func (l *Log) EachOf(ctx context.Context, vehicle string, do func(event.Event) error) error {
	return l.Events.Each(ctx, 1, fmt.Sprintf("telltale.event.%d.%s.*", Partition(vehicle), intake.Token(vehicle)), func(m jetstream.Msg, _ uint64) error {
		ev, bad := intake.DecodeMessage(m.Subject(), m.Data())
		if bad != nil {
			return nil
		}
		return do(ev)
	})
}
