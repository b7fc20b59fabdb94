package gateway

import (
	"context"
	"fmt"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/stream/service"
)

// Entered is what became of entries, which may be of several vehicles, or would.
type Entered struct {
	Events []event.Event
	Would  []engine.WouldEntry // one for each
	Of     map[string]engine.Would
}

// WouldBe asks what would follow of events, in the units of the question. Those of which
// the identity was taken out get another, so that they count. So does an answer that was
// given already: it is given now, and between the two another may have undone it within the
// same second.
func WouldBe(ctx context.Context, at service.At, units []string, events []event.Event) (*Entered, error) {
	e := &Entered{Events: append([]event.Event{}, events...)}
	for n := 2; ; n++ {
		var err error
		if e.Would, e.Of, err = service.QueryWould(ctx, at, units, e.Events...); err != nil {
			return nil, err
		}
		again := false
		for i := range e.Would {
			if e.Would[i].TakenOut || e.Would[i].Known && events[i].Kind == event.AnswerEvent {
				again = true
				if e.Events[i], err = job.Again(events[i], n); err != nil {
					return nil, err
				}
				e.Events[i].Line = events[i].Line
			}
		}
		if !again {
			return e, nil
		}
	}
}

// Fresh are the events that are not known yet.
func (e *Entered) Fresh() []event.Event {
	var out []event.Event
	for i := range e.Events {
		if !e.Would[i].Known {
			out = append(out, e.Events[i])
		}
	}
	return out
}

// Send stores what is new, waits until it is folded, and lists what the service could not
// use of it: something else came since it was asked.
func (e *Entered) Send(ctx context.Context, at service.At) ([]alarm.Refusal, error) {
	p, err := Send(ctx, at, e.Fresh()...)
	if err != nil {
		return nil, fmt.Errorf("sending: %w", err)
	}
	list, err := p.Refused(ctx)
	if err != nil {
		return nil, fmt.Errorf("asking what the service made of it: %w", err)
	}
	var out []alarm.Refusal
	for _, r := range list {
		if !r.Kept {
			out = append(out, r)
		}
	}
	return out, nil
}
