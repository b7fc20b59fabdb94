package service

import (
	"context"
	"fmt"
	"slices"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
)

// Would says what would follow of the question's entries for its vehicle, and stores
// nothing; one item.
var Would = listed(Inquiry[engine.Would]{"would",
	func(w *worker, q Question) []engine.Would { return []engine.Would{w.would(q)} }, nil})

// would takes the entries as they would come from the log.
func (w *worker) would(q Question) engine.Would {
	vehicle, entries, a := q.Vehicle, q.Entries, w.asked(q)
	var usable []event.Event
	bad := map[int]engine.WouldEntry{}
	ticks := intake.NewTicks(!w.cfg.ClockFollowsEvents)
	ticks.Before(event.Event{Recorded: w.fold.Now()})
	for i, text := range entries {
		ev, err := w.readEntry(vehicle, text, a.NamesOf(vehicle))
		if err != nil {
			bad[i] = engine.WouldEntry{Event: ev.ID, Refused: &alarm.Refusal{Refused: err.Error(), Vehicle: vehicle, Event: &ev.ID, Time: w.fold.Now()}}
			continue
		}
		if !ev.Recorded.Equal(stream.Unclocked) {
			usable = append(usable, ticks.Before(ev)...)
		}
		usable = append(usable, ev)
	}
	out := a.Would(vehicle, usable)
	good := out.Entries
	out.Entries = make([]engine.WouldEntry, len(entries))
	for i := range entries {
		if e, ok := bad[i]; ok {
			out.Entries[i] = e
			continue
		}
		out.Entries[i], good = good[0], good[1:]
	}
	return out
}

// readEntry reads one as if it were stored now, under any of the vehicle's names.
func (w *worker) readEntry(vehicle string, text []byte, names []string) (event.Event, error) {
	ev, err := intake.Decode(text)
	if err == nil && ev.Vehicle != vehicle && slices.Contains(names, ev.Vehicle) {
		ev.Vehicle = vehicle
		ev = intake.Renamed(ev) // as it is handed over
	}
	switch {
	case err != nil:
		return ev, err
	case ev.Kind.Internal():
		return ev, fmt.Errorf("a %s is written by the service alone", ev.Kind)
	case ev.Vehicle != vehicle:
		return ev, fmt.Errorf("it is of vehicle %q, not %q", ev.Vehicle, vehicle)
	case w.cfg.ClockFollowsEvents:
		return ev, nil
	}
	return ev, intake.InFuture(ev, time.Now())
}

// wouldAtOnce is how many bytes of entries are asked after in one request: a server
// takes messages of a megabyte.
const wouldAtOnce = 600 << 10

// QueryWould asks a service what would follow of events, which may be of
// several vehicles; those of one vehicle are folded one after the other. The answers
// come in the order of the events, and the vehicles' own by vehicle; units are those of the
// question.
func QueryWould(ctx context.Context, at At, units []string, events ...event.Event) ([]engine.WouldEntry, map[string]engine.Would, error) {
	out, of := make([]engine.WouldEntry, len(events)), map[string]engine.Would{}
	var order []string
	places := map[string][]int{}
	for i, ev := range events {
		if places[ev.Vehicle] == nil {
			order = append(order, ev.Vehicle)
		}
		places[ev.Vehicle] = append(places[ev.Vehicle], i)
	}
	for _, vehicle := range order {
		for rest := places[vehicle]; len(rest) > 0; {
			n, would, err := wouldOf(ctx, at, units, vehicle, events, rest)
			if err != nil {
				return nil, nil, err
			}
			for k, i := range rest[:n] {
				out[i] = would.Entries[k]
			}
			of[vehicle], rest = would, rest[n:]
		}
	}
	return out, of, nil
}

// wouldOf asks after as many of a vehicle's events, by their places, as go into one
// request.
func wouldOf(ctx context.Context, at At, units []string, vehicle string, events []event.Event, which []int) (n int, w engine.Would, err error) {
	q := Question{Vehicle: vehicle, Units: units}
	for size := 0; n < len(which); n++ {
		text, err := intake.Encode(events[which[n]])
		if err != nil {
			return 0, w, err
		}
		if size += len(text); n > 0 && size > wouldAtOnce {
			break
		}
		q.Entries = append(q.Entries, text)
	}
	list, err := Would.From(ctx, at, q)
	if err == nil && (len(list) != 1 || len(list[0].Entries) != n) {
		err = fmt.Errorf("asking what would follow for %q: the answer is not that of the %d entries", vehicle, n)
	}
	if err != nil {
		return 0, w, err
	}
	return n, list[0], nil
}
