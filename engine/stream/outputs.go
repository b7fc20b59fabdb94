package stream

import (
	"context"
	"errors"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/alarm"
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
// first.
func (l *Log) Refused(ctx context.Context, do func(alarm.Refusal) error) error {
	return l.refusedWithin(ctx, refusedWithin, do)
}

func (l *Log) refusedWithin(ctx context.Context, n uint64, do func(alarm.Refusal) error) error {
	last, err := l.Alarms.LastSeq(ctx)
	if err != nil {
		return err
	}
	return l.Alarms.Each(ctx, last-min(last, n)+1, "telltale.alarm.*", func(raw jetstream.Msg, seq uint64) error {
		m, err := wire.DecodeMessage(raw.Subject(), seq, raw.Data())
		if err != nil {
			return err
		}
		for _, o := range m.Outputs {
			if o.Refused == nil {
				continue
			}
			if err := do(*o.Refused); err != nil {
				return err
			}
		}
		return nil
	})
}
