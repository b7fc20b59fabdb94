package stream

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/intake"
)

const (
	// maxDirty is how many changed records are kept before they are written.
	maxDirty = 8000
	// inFlight is how many of a partition's writes wait for their acknowledgement
	// together.
	inFlight = 256
)

// flush writes the changed records and then the checkpoint. All that the events
// up to the position said is published by now.
func (w *worker) flush(ctx context.Context) error {
	if w.at.Seq == w.wrote && len(w.dirty) == 0 || w.recovery != nil {
		return nil // what is not reconciled must be folded again after a crash
	}
	for chunk := range slices.Chunk(slices.Sorted(maps.Keys(w.dirty)), inFlight) {
		if err := w.writeRecords(ctx, chunk); err != nil {
			return err
		}
	}
	return w.writeCheckpoint(ctx)
}

// write is one record on its way.
type write struct {
	vehicle string
	at      position
	gone    bool
	msg     *nats.Msg
	ack     jetstream.PubAckFuture
}

func (w *worker) writeRecords(ctx context.Context, vehicles []string) error {
	writes := make([]write, 0, len(vehicles))
	for _, v := range vehicles {
		wr, err := w.encode(v)
		if err != nil {
			return err
		}
		if wr.gone {
			wr.msg.Header.Set(jetstream.MsgTTLHeader, goneFor.String())
		}
		if wr.ack, err = w.log.js.PublishMsgAsync(follows(wr.msg, w.records[v].last)); err != nil {
			if err := w.settle(ctx, wr, err); err != nil {
				return err
			}
			continue
		}
		writes = append(writes, wr)
	}
	for _, wr := range writes {
		select {
		case ack := <-wr.ack.Ok():
			w.written(wr, ack.Sequence)
		case err := <-wr.ack.Err():
			if err := w.settle(ctx, wr, err); err != nil {
				return err
			}
		case <-ctx.Done():
			return fmt.Errorf("writing the record of vehicle %q: %w", wr.vehicle, ctx.Err())
		}
	}
	return nil
}

func (w *worker) written(wr write, seq uint64) {
	w.records[wr.vehicle] = stored{last: seq, at: wr.at, gone: wr.gone}
	delete(w.dirty, wr.vehicle)
}

// encode makes the message of a record at the position of the fold.
func (w *worker) encode(v string) (write, error) {
	at := position{w.at.Epoch, w.at.Seq, w.at.Seq}
	if old, ok := w.records[v]; ok && !old.gone {
		if at.born = old.at.born; old.at.epoch < at.epoch {
			at.born = 0 // before all events of this epoch
		}
	}
	w.mu.Lock() // those who ask fill the records' caches
	defer w.mu.Unlock()
	b, err := w.fold.Encode(v)
	gone := err != nil && !slices.Contains(w.fold.Vehicles(), v)
	if err != nil && !gone {
		return write{}, fmt.Errorf("encoding the record of vehicle %q: %w", v, err)
	}
	if gone {
		b = nil
	}
	return write{vehicle: v, at: at, gone: gone, msg: recordMsg(recordSubject(w.p, intake.Token(v)), at, b)}, nil
}

// settle sees to a record whose write was refused, not answered or not even sent. The newer
// position wins: where the stored one is newer, this owner has been replaced.
func (w *worker) settle(ctx context.Context, wr write, err error) error {
	p := newPatience(w.log.patience)
	for unknown(err) || wrongSequence(err) {
		m, rerr := lastOn(ctx, w.log.state, wr.msg.Subject, w.log.patience)
		if rerr != nil {
			return rerr
		}
		var expect uint64
		if m != nil {
			at, perr := parsePosition(m.Header.Get(positionHeader))
			switch {
			case perr != nil:
				return fmt.Errorf("reading the record of vehicle %q: %w", wr.vehicle, perr)
			case at.newer(wr.at):
				return fmt.Errorf("writing the record of vehicle %q: %w", wr.vehicle, ErrFenced)
			case at == wr.at: // the fold of the same events
				w.written(wr, m.Sequence)
				return nil
			}
			expect = m.Sequence
		}
		if err := p.again(ctx, err); err != nil {
			return fmt.Errorf("writing the record of vehicle %q: %w", wr.vehicle, err)
		}
		var ack *jetstream.PubAck
		c, cancel := context.WithTimeout(ctx, callTimeout)
		ack, err = w.log.js.PublishMsg(c, follows(wr.msg, expect))
		cancel()
		if err == nil {
			w.written(wr, ack.Sequence)
			return nil
		}
	}
	return fmt.Errorf("writing the record of vehicle %q: %w", wr.vehicle, err)
}

// writeCheckpoint writes where the partition stands. If another owner's is there
// and older, as when a paused one wakes, it is overwritten.
func (w *worker) writeCheckpoint(ctx context.Context) error {
	c := w.at
	c.Format, c.Program, c.Created, c.Published = format, w.cfg.Program, w.created, w.out
	c.Said = w.alarms.last
	c.Tick, c.Book, c.Records = w.fold.Now(), "", 0
	if b := w.fold.Book(); b != nil {
		c.Book = b.Hash
	}
	c.Baselines, _ = w.fold.Baselines()
	for _, r := range w.records {
		if existed(r, c) {
			c.Records++
		}
	}
	data, err := marshal(c)
	if err != nil {
		return fmt.Errorf("encoding the checkpoint of partition %d: %w", w.p, err)
	}
	for tries := 0; ; tries++ {
		err := w.check.publish(ctx, &nats.Msg{Data: data})
		if err == nil {
			w.wrote = c.Seq
			w.mu.Lock()
			defer w.mu.Unlock()
			w.vehicles, w.saved = c.Records, time.Now()
			return nil
		}
		if !fenced(err) || tries > 0 {
			return err
		}
		m, rerr := w.check.read(ctx)
		if rerr != nil {
			return rerr
		}
		if m == nil {
			continue
		}
		there, rerr := decodeCheckpoint(m.Data)
		if rerr != nil {
			return rerr
		}
		if (position{there.Epoch, there.Seq, 0}).newer(position{c.Epoch, c.Seq, 0}) {
			return err
		}
	}
}

// existed reports whether the vehicle had a record at the checkpoint.
func existed(r stored, c checkpoint) bool {
	if r.at.epoch < c.Epoch {
		return !r.gone
	}
	return r.at.born <= c.Seq && (!r.gone || r.at.seq > c.Seq)
}
