package stream

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/engine/intake"
	"telltale/engine/stream/wire"
)

// Outputs reads what the partitions say, from a sequence of ALARMS on, in order
// and without end, until ctx ends or do fails. Claims are handed over too, with
// no outputs. What one event said is one call, whose Seq is that of its last
// message; to go on after it, begin with Seq+1.
func (l *Log) Outputs(ctx context.Context, from uint64, do func(wire.Message) error) error {
	j := joiner{log: l, open: map[int]*wire.Message{}}
	return l.Alarms.Follow(ctx, from, func(m jetstream.Msg, meta *jetstream.MsgMetadata) error {
		return j.take(ctx, m, meta.Sequence.Stream, do)
	}, "telltale.alarm.*")
}

// LastOutput is the sequence of the last message of ALARMS; 0 if there is none.
func (l *Log) LastOutput(ctx context.Context) (uint64, error) { return l.Alarms.LastSeq(ctx) }

// joiner puts together what one event said in several messages.
type joiner struct {
	log  *Log
	open map[int]*wire.Message // by partition: more is to follow
}

func (j *joiner) take(ctx context.Context, raw jetstream.Msg, seq uint64, do func(wire.Message) error) error {
	m, err := wire.DecodeMessage(raw.Subject(), seq, raw.Data())
	if err != nil {
		return err
	}
	if m.Claim != nil {
		return do(m)
	}
	open := j.open[m.Partition]
	delete(j.open, m.Partition)
	if m.Reconciled {
		if open != nil {
			err = do(open.Joined())
		}
		return errors.Join(err, do(m))
	}
	switch {
	case open != nil && open.Event == m.Event:
		open.Outputs, open.Seq, open.More = append(open.Outputs, m.Outputs...), m.Seq, m.More
		m = *open
	case open != nil: // an owner of another program found nothing more to say
		if err := do(open.Joined()); err != nil {
			return err
		}
	case m.N > 0:
		if m, err = j.log.fromFirst(ctx, raw.Subject(), m); err != nil {
			return err
		}
	}
	if m.More {
		j.open[m.Partition] = &m
		return nil
	}
	return do(m.Joined())
}

// fromFirst puts the event's earlier messages, which the reader began after,
// before m.
func (l *Log) fromFirst(ctx context.Context, subject string, m wire.Message) (wire.Message, error) {
	for seq := m.Seq - 1; seq > 0 && m.N > 0; seq-- {
		raw, err := l.Alarms.Get(ctx, seq)
		if err != nil || raw == nil {
			return m, err
		}
		if raw.Subject != subject {
			continue
		}
		before, err := wire.DecodeMessage(raw.Subject, seq, raw.Data)
		if err != nil {
			return m, err
		}
		switch {
		case before.Claim != nil, before.Reconciled:
			continue
		case before.Event != m.Event:
			return m, nil
		}
		m.N, m.Outputs = before.N, append(before.Outputs, m.Outputs...)
	}
	return m, nil
}

// refusedWithin is among how many of the latest messages of ALARMS refusals are
// looked for: a second's reading, however long the service has run.
const refusedWithin = 100_000

// Refused hands over the refusals among the latest 100,000 messages of ALARMS, oldest
// first, each with its event's sequence in the log.
func (l *Log) Refused(ctx context.Context, do func(alarm.Refusal) error) error {
	return l.refusedWithin(ctx, refusedWithin, do)
}

func (l *Log) refusedWithin(ctx context.Context, n uint64, do func(alarm.Refusal) error) error {
	last, err := l.Alarms.LastSeq(ctx)
	if err != nil {
		return err
	}
	return l.EachOutput(ctx, last-min(last, n)+1, "telltale.alarm.*", func(m wire.Message, o engine.Output) error {
		if o.Refused == nil {
			return nil
		}
		r := *o.Refused
		r.Seq = m.Event
		return do(r)
	})
}

// EachOutput hands over each output with its message, from a sequence of ALARMS on and of
// the subjects that the pattern matches, and returns after the last one.
func (l *Log) EachOutput(ctx context.Context, from uint64, pattern string, do func(wire.Message, engine.Output) error) error {
	return l.Alarms.Each(ctx, from, pattern, func(raw jetstream.Msg, seq uint64) error {
		m, err := wire.DecodeMessage(raw.Subject(), seq, raw.Data())
		for i := 0; err == nil && i < len(m.Outputs); i++ {
			err = do(m, m.Outputs[i])
		}
		return err
	})
}

// TrimSaid takes out of ALARMS what was stored before a time, as far as nobody needs
// it: nothing after told, up to where the notifier has read, nothing that the fold
// of a partition from its checkpoint is compared with, and not the last message of
// a partition, which fences and says how far it is. It returns how many went.
func (l *Log) TrimSaid(ctx context.Context, before time.Time, told uint64) (uint64, error) {
	upTo, err := l.Alarms.FirstSince(ctx, before)
	if err != nil {
		return 0, err
	}
	upTo = min(upTo, told+1)
	if err := l.trimSaid(ctx, before); err != nil {
		return 0, err
	}
	was, err := l.Alarms.Info(ctx)
	for p := 0; err == nil && upTo > 1 && p < Partitions; p++ {
		err = l.trimPart(ctx, p, upTo)
	}
	if err != nil {
		return 0, err
	}
	is, err := l.Alarms.Info(ctx)
	if err != nil {
		return 0, err
	}
	return was.State.Msgs - min(was.State.Msgs, is.State.Msgs), nil
}

// trimPart takes out what a partition said before a sequence.
func (l *Log) trimPart(ctx context.Context, p int, upTo uint64) error {
	subject := wire.AlarmSubject(p)
	last, err := l.Alarms.Last(ctx, subject)
	if err != nil || last == nil {
		return err
	}
	m, err := l.State.Last(ctx, wire.CheckpointSubject(p))
	if err != nil || m == nil {
		return err
	}
	c, err := wire.DecodeCheckpoint(m.Data)
	if err != nil {
		return fmt.Errorf("partition %d: %w", p, err)
	}
	return l.Alarms.Purge(ctx, subject, min(upTo, last.Sequence, c.Said))
}

// historyKinds are the kinds of events that are read from the log for a history.
// Readings come from the record, which thins them: a gateway sends one a minute.
var historyKinds = []event.Kind{event.ServiceEvent, event.SampleEvent, event.MeterReplacedEvent, event.AnswerEvent, event.VoidEvent}

// Past reads what the log holds of a vehicle beside its record, under all of its names;
// the first is that of its record. What came under another one stands there twice, as it
// came and as it was handed over.
func (l *Log) Past(ctx context.Context, names []string) (past history.Past, err error) {
	var subjects []string
	for _, name := range names {
		for _, kind := range historyKinds {
			subjects = append(subjects, eventSubject(name, kind))
		}
	}
	var said history.Past
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return l.saidOf(ctx, names, &said) })
	g.Go(func() error {
		return l.Events.EachOf(ctx, 1, subjects, func(m jetstream.Msg, _ uint64) error {
			if ev, bad := intake.DecodeMessage(m.Subject(), m.Data()); bad == nil { // else it is among the refusals
				past.Events = append(past.Events, ev)
			}
			return nil
		})
	})
	err = g.Wait()
	past.Transitions, past.Refused = said.Transitions, said.Refused
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
