package stream

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
)

// Outputs reads what the partitions say, from a sequence of ALARMS on, in order
// and without end, until ctx ends or do fails. Claims are handed over too, with
// no outputs. What one event said is one call, whose Seq is that of its last
// message; to go on after it, begin with Seq+1.
func (l *Log) Outputs(ctx context.Context, from uint64, do func(Message) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	msgs, ended, err := l.read(ctx, l.alarms, from, "telltale.alarm.*")
	if err != nil {
		return err
	}
	j := joiner{log: l, open: map[int]*Message{}}
	for {
		select {
		case m := <-msgs:
			err = j.take(ctx, m, do)
		case err = <-ended:
		case <-ctx.Done():
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
	}
}

// LastOutput is the sequence of the last message of ALARMS; 0 if there is none.
func (l *Log) LastOutput(ctx context.Context) (uint64, error) { return l.lastSeq(ctx, l.alarms) }

// joiner puts together what one event said in several messages.
type joiner struct {
	log  *Log
	open map[int]*Message // by partition: more is to follow
}

func (j *joiner) take(ctx context.Context, raw jetstream.Msg, do func(Message) error) error {
	meta, err := raw.Metadata()
	if err != nil {
		return fmt.Errorf("reading what the partitions say: %w", err)
	}
	m, err := decodeMessage(raw.Subject(), meta.Sequence.Stream, raw.Data())
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
			err = do(open.joined())
		}
		return errors.Join(err, do(m))
	}
	switch {
	case open != nil && open.Event == m.Event:
		open.Outputs, open.Seq, open.More = append(open.Outputs, m.Outputs...), m.Seq, m.More
		m = *open
	case open != nil: // an owner of another program found nothing more to say
		if err := do(open.joined()); err != nil {
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
	return do(m.joined())
}

// fromFirst puts the event's earlier messages, which the reader began after,
// before m.
func (l *Log) fromFirst(ctx context.Context, subject string, m Message) (Message, error) {
	for seq := m.Seq - 1; seq > 0 && m.N > 0; seq-- {
		raw, err := ask(ctx, l.patience, func(ctx context.Context) (*jetstream.RawStreamMsg, error) { return l.alarms.GetMsg(ctx, seq) })
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			return m, nil
		}
		if err != nil {
			return m, fmt.Errorf("reading message %d of %s: %w", seq, AlarmsStream, err)
		}
		if raw.Subject != subject {
			continue
		}
		before, err := decodeMessage(raw.Subject, seq, raw.Data)
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

// joined puts the parts of a turn's list together.
func (m Message) joined() Message {
	var out []engine.Output
	for _, o := range m.Outputs {
		if n := len(out); n > 0 && o.Turn != nil && out[n-1].Turn != nil &&
			o.Turn.Digest == out[n-1].Turn.Digest && o.Turn.Date == out[n-1].Turn.Date {
			t := *out[n-1].Turn
			t.Items, t.Alarms = append(t.Items, o.Turn.Items...), append(t.Alarms, o.Turn.Alarms...)
			t.Vehicles += o.Turn.Vehicles
			out[n-1].Turn = &t
			continue
		}
		out = append(out, o)
	}
	m.Outputs = out
	return m
}

// refusedWithin is among how many of the latest messages of ALARMS refusals are
// looked for: a second's reading, however long the service has run.
const refusedWithin = 100_000

// Refused hands over the refusals among the latest 100,000 messages of ALARMS, oldest
// first.
func (l *Log) Refused(ctx context.Context, do func(engine.Refusal) error) error {
	return l.refusedWithin(ctx, refusedWithin, do)
}

func (l *Log) refusedWithin(ctx context.Context, n uint64, do func(engine.Refusal) error) error {
	last, err := l.lastSeq(ctx, l.alarms)
	if err != nil {
		return err
	}
	return l.eachFrom(ctx, l.alarms, last-min(last, n)+1, "telltale.alarm.*", func(raw jetstream.Msg, seq uint64) error {
		m, err := decodeMessage(raw.Subject(), seq, raw.Data())
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
