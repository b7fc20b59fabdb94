package stream

import (
	"context"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/engine/intake"
	"telltale/engine/stream/wire"
)

// historyKinds are the kinds of events that are read from the log for a history.
// Readings come from the record, which thins them: a gateway sends one a minute.
var historyKinds = []event.Kind{event.ServiceEvent, event.SampleEvent, event.MeterReplacedEvent, event.AnswerEvent, event.VoidEvent}

// Past reads what the log holds of a vehicle beside its record.
func (l *Log) Past(ctx context.Context, vehicle string) (past history.Past, err error) {
	for _, kind := range historyKinds {
		err := l.Events.Each(ctx, 1, eventSubject(vehicle, kind), func(m jetstream.Msg, _ uint64) error {
			if ev, bad := intake.DecodeMessage(m.Subject(), m.Data()); bad == nil { // else it is among the refusals
				past.Events = append(past.Events, ev)
			}
			return nil
		})
		if err != nil {
			return past, err
		}
	}
	err = l.Alarms.Each(ctx, 1, wire.AlarmSubject(Partition(vehicle)), func(raw jetstream.Msg, seq uint64) error {
		m, err := wire.DecodeMessage(raw.Subject(), seq, raw.Data())
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

// LastRegistration is the last registration of a vehicle in the log, whether or not
// it is folded yet; nil where there is none that can be read.
func (l *Log) LastRegistration(ctx context.Context, vehicle string) (*event.VehicleData, error) {
	m, err := l.Events.Last(ctx, eventSubject(vehicle, event.VehicleEvent))
	if err != nil || m == nil {
		return nil, err
	}
	ev, bad := intake.DecodeMessage(m.Subject, m.Data)
	if bad != nil {
		return nil, nil // it was refused
	}
	return ev.Data.(*event.VehicleData), nil
}

func eventSubject(vehicle string, k event.Kind) string {
	return fmt.Sprintf("telltale.event.%d.%s.%s", Partition(vehicle), intake.Token(vehicle), k)
}
