package stream

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/intake"
)

// historyTime bounds how long a history may be read, within what who asks waits for.
const historyTime = 50 * time.Second

// historyKinds are the kinds of events that are read from the log for a history.
// Readings come from the record, which thins them: a gateway sends one a minute.
var historyKinds = []engine.Kind{engine.ServiceEvent, engine.SampleEvent, engine.MeterReplacedEvent, engine.AnswerEvent, engine.VoidEvent}

var (
	historyInquiry = inquiry[engine.HistoryEntry]{"history", func(w *worker, q question) []engine.HistoryEntry {
		return w.fold.History(q.Vehicle)
	}}
	registerInquiry = inquiry[engine.RegisteredVehicle]{"register", func(w *worker, _ question) []engine.RegisteredVehicle {
		return w.fold.Register()
	}}
	knownInquiry = inquiry[engine.KnownEvent]{"known", func(w *worker, q question) []engine.KnownEvent {
		return w.fold.Known(q.Vehicle, q.Events)
	}}
)

// History is all that is known of a vehicle, from its record, the log of events and
// what was said; nil where it is not registered.
func (s *Service) History(ctx context.Context, vehicle string) ([]engine.HistoryEntry, error) {
	list, err := scatter(ctx, s, historyInquiry, question{Vehicle: vehicle})
	if err != nil || len(list) == 0 {
		return nil, err
	}
	past, err := s.log.past(ctx, vehicle)
	if err != nil {
		return nil, fmt.Errorf("reading the history of %q: %w", vehicle, err)
	}
	return engine.ExtendHistory(list, past), nil
}

func (s *Service) history(ctx context.Context, q question) ([]engine.HistoryEntry, error) {
	ctx, cancel := context.WithTimeout(ctx, historyTime)
	defer cancel()
	return s.History(ctx, q.Vehicle)
}

// Register lists the vehicles that are registered, by id.
func (s *Service) Register(ctx context.Context) ([]engine.RegisteredVehicle, error) {
	return s.register(ctx, question{})
}

func (s *Service) register(ctx context.Context, q question) ([]engine.RegisteredVehicle, error) {
	list, err := scatter(ctx, s, registerInquiry, q)
	slices.SortFunc(list, func(a, b engine.RegisteredVehicle) int { return strings.Compare(a.Vehicle, b.Vehicle) })
	return list, err
}

// known says which of some events of a vehicle its record holds, with their hashes.
func (s *Service) known(ctx context.Context, q question) ([]engine.KnownEvent, error) {
	return scatter(ctx, s, knownInquiry, q)
}

// past reads what the log holds of a vehicle.
func (l *Log) past(ctx context.Context, vehicle string) (past engine.Past, err error) {
	p := Partition(vehicle)
	for _, kind := range historyKinds {
		subject := fmt.Sprintf("telltale.event.%d.%s.%s", p, intake.Token(vehicle), kind)
		err := l.each(ctx, l.events, subject, func(m jetstream.Msg, _ uint64) error {
			if ev, bad := intake.DecodeMessage(m.Subject(), m.Data()); bad == nil { // else it is among the refusals
				past.Events = append(past.Events, ev)
			}
			return nil
		})
		if err != nil {
			return past, err
		}
	}
	err = l.each(ctx, l.alarms, fmt.Sprintf("telltale.alarm.%d", p), func(raw jetstream.Msg, seq uint64) error {
		m, err := decodeMessage(raw.Subject(), seq, raw.Data())
		if err != nil {
			return err
		}
		for _, o := range m.Outputs {
			switch {
			case o.Transition != nil && o.Transition.Vehicle == vehicle:
				past.Transitions = append(past.Transitions, *o.Transition)
			case o.Refused != nil && o.Refused.Vehicle == vehicle:
				past.Refused = append(past.Refused, *o.Refused)
			}
		}
		return nil
	})
	return past, err
}

// QueryHistory asks a running service for all that it knows of a vehicle.
func QueryHistory(ctx context.Context, nc *nats.Conn, vehicle string) ([]engine.HistoryEntry, error) {
	return List[engine.HistoryEntry](ctx, nc, "history", question{Vehicle: vehicle})
}

// QueryRegister asks a running service for the vehicles that are registered.
func QueryRegister(ctx context.Context, nc *nats.Conn) ([]engine.RegisteredVehicle, error) {
	return List[engine.RegisteredVehicle](ctx, nc, "register", question{})
}

// knownAtOnce is how many events are asked after in one request.
const knownAtOnce = 500

// QueryKnown asks a running service which of some events of a vehicle it holds
// already, and with which content.
func QueryKnown(ctx context.Context, nc *nats.Conn, vehicle string, events []engine.KnownEvent) ([]engine.KnownEvent, error) {
	var out []engine.KnownEvent
	for len(events) > 0 {
		n := min(len(events), knownAtOnce)
		part, err := List[engine.KnownEvent](ctx, nc, "known", question{Vehicle: vehicle, Events: events[:n]})
		if err != nil {
			return nil, err
		}
		out, events = append(out, part...), events[n:]
	}
	return out, nil
}
