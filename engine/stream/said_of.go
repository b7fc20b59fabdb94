package stream

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/history"
	"telltale/engine/intake"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/wire"
)

// What the partitions say lies in ALARMS in the order in which it was said, a message for all
// that one event said of many vehicles. SAID has the same by vehicle, so that a vehicle's
// history costs by its own entries. It is made of ALARMS, behind it, and holds nothing that
// ALARMS does not say: what it lacks at its end is read from there, and a store of a program
// that knew no SAID gets it while it runs.

// saidConfig is of a stream that need not be synced: what a power failure takes of its end is
// made again.
func saidConfig(c LogConfig) jetstream.StreamConfig {
	s := base(c, SaidStream, "telltale.said.*.*")
	s.Compression = jetstream.S2Compression
	if c.Replicas == 1 {
		s.PersistMode = jetstream.AsyncPersistMode
	}
	return s
}

func saidSubject(partition int, vehicle string) string {
	return fmt.Sprintf("telltale.said.%d.%s", partition, intake.Token(vehicle))
}

// placeHeader is on a message of SAID: its place in ALARMS.
const placeHeader = "Telltale-Place"

func placeOf(h nats.Header) (SaidAt, error) {
	at, ok := ParseSaidAt(h.Get(placeHeader))
	if !ok {
		return at, fmt.Errorf("the place of what was said is %q", h.Get(placeHeader))
	}
	return at, nil
}

// KeepSaid puts what is said by vehicle, until ctx ends. Of several that do so at once each
// message is written by one: it expects the one before it to be the last.
func (l *Log) KeepSaid(ctx context.Context) {
	for ctx.Err() == nil {
		if err := l.keepSaid(ctx); err != nil && ctx.Err() == nil {
			l.Logger.Warn("putting what is said by vehicle failed; going on from where it is", "error", err)
			jet.Rest(ctx, 5*time.Second)
		}
	}
}

func (l *Log) keepSaid(ctx context.Context) error {
	last, at, err := l.saidLast(ctx)
	if err != nil {
		return err
	}
	return l.Alarms.Follow(ctx, at.Seq, func(m jetstream.Msg, meta *jetstream.MsgMetadata) error {
		list, err := saidIn(m, meta.Sequence.Stream)
		for _, s := range list {
			if err != nil || !at.before(s.at) {
				continue
			}
			ack := (*jetstream.PubAck)(nil)
			if ack, err = l.JS.PublishMsg(ctx, s.msg, jetstream.WithExpectLastSequence(last)); err == nil {
				last = ack.Sequence
			}
		}
		return err
	}, "telltale.alarm.*")
}

// saidLast is the last message of SAID, and up to where in ALARMS it has everything. Where
// ALARMS went back behind that, it is none.
func (l *Log) saidLast(ctx context.Context) (seq uint64, at SaidAt, err error) {
	if seq, err = l.Said.LastSeq(ctx); err != nil {
		return 0, at, err
	}
	m, err := l.Said.Last(ctx, "telltale.said.>")
	if err != nil || m == nil {
		return seq, at, err
	}
	if at, err = placeOf(m.Header); err != nil {
		return 0, at, err
	}
	end, err := l.Alarms.LastSeq(ctx)
	if at.Seq > end {
		at = SaidAt{}
	}
	return seq, at, err
}

// placed is one output on its way into SAID.
type placed struct {
	at  SaidAt
	msg *nats.Msg
}

// saidIn is what a message of ALARMS says of single vehicles.
func saidIn(m jetstream.Msg, seq uint64) (out []placed, err error) {
	b, err := wire.DecodeBody(m.Data())
	if err != nil {
		return nil, fmt.Errorf("message %d on %q: %w", seq, m.Subject(), err)
	}
	partition := m.Subject()[strings.LastIndexByte(m.Subject(), '.')+1:]
	for n, raw := range b.Outputs {
		var of struct {
			Transition *struct{ Vehicle, First string }
			Refused    *struct{ Vehicle string }
		}
		if err := json.Unmarshal(raw, &of); err != nil {
			return nil, fmt.Errorf("message %d on %q: %w", seq, m.Subject(), err)
		}
		vehicle := ""
		switch {
		case of.Transition != nil:
			vehicle = cmp.Or(of.Transition.First, of.Transition.Vehicle)
		case of.Refused != nil:
			vehicle = of.Refused.Vehicle
		}
		if token := intake.Token(vehicle); token != "" {
			msg := &nats.Msg{Subject: "telltale.said." + partition + "." + token, Data: raw, Header: nats.Header{}}
			msg.Header.Set(placeHeader, SaidAt{seq, n}.String())
			out = append(out, placed{SaidAt{seq, n}, msg})
		}
	}
	return out, nil
}

// saidOf adds what was said of a vehicle under its names to its past, in order.
func (l *Log) saidOf(ctx context.Context, names []string, past *history.Past) error {
	_, at, err := l.saidLast(ctx)
	if err != nil {
		return err
	}
	all := map[SaidAt]engine.Output{}
	partition := Partition(names[0])
	for _, name := range names {
		err := l.Said.Each(ctx, 1, saidSubject(partition, name), func(m jetstream.Msg, _ uint64) error {
			where, err := placeOf(m.Headers())
			if err == nil {
				all[where], err = wire.DecodeOutput(m.Data())
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	here := SaidAt{}
	err = l.EachOutput(ctx, at.Seq, wire.AlarmSubject(partition), func(m wire.Message, o engine.Output) error {
		if here.N++; m.Seq != here.Seq {
			here = SaidAt{Seq: m.Seq}
		}
		if at.before(here) {
			all[here] = o
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, where := range slices.SortedFunc(maps.Keys(all), SaidAt.Compare) {
		addSaid(past, names, all[where].Transition, all[where].Refused)
	}
	return nil
}

func addSaid(past *history.Past, names []string, t *alarm.Transition, r *alarm.Refusal) {
	switch {
	case t != nil && t.Home() == names[0]:
		past.Transitions = append(past.Transitions, *t)
	case r != nil && slices.Contains(names, r.Vehicle):
		past.Refused = append(past.Refused, *r)
	}
}

// trimSaid takes out of SAID what was stored before a time; its last message says how far it is.
func (l *Log) trimSaid(ctx context.Context, before time.Time) error {
	upTo, err := l.Said.FirstSince(ctx, before)
	if err != nil {
		return err
	}
	last, err := l.Said.LastSeq(ctx)
	if err != nil {
		return err
	}
	return l.Said.Purge(ctx, "telltale.said.>", min(upTo, last))
}
