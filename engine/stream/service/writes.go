package service

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/wire"
)

const (
	// maxDirty is how many changed records are kept before they are written.
	maxDirty = 8000
	// goneFor is how long the mark of a record that went is kept: longer than any
	// checkpoint lags.
	goneFor = 30 * 24 * time.Hour
)

// flush writes the changed records and then the checkpoint. All that the events
// up to the position said is published by now.
func (w *worker) flush(ctx context.Context) error {
	if w.at.Seq == w.wrote && len(w.dirty) == 0 || w.recovery != nil {
		return nil // what is not reconciled must be folded again after a crash
	}
	for chunk := range slices.Chunk(slices.Sorted(maps.Keys(w.dirty)), stream.InFlight) {
		if err := w.writeRecords(ctx, chunk); err != nil {
			return err
		}
	}
	return w.writeCheckpoint(ctx)
}

// write is one record on its way.
type write struct {
	vehicle string
	at      wire.Position
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
		if wr.ack, err = w.log.JS.PublishMsgAsync(jet.Follows(wr.msg, w.records[v].last)); err != nil {
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
	at := wire.Position{Epoch: w.at.Epoch, Seq: w.at.Seq, Born: w.at.Seq}
	if old, ok := w.records[v]; ok && !old.gone {
		if at.Born = old.at.Born; old.at.Epoch < at.Epoch {
			at.Born = 0 // before all events of this epoch
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
	return write{vehicle: v, at: at, gone: gone, msg: wire.RecordMsg(wire.RecordSubject(w.p, intake.Token(v)), at, b)}, nil
}

// settle sees to a record whose write was refused, not answered or not even sent. The newer
// position wins: where the stored one is newer, this owner has been replaced.
func (w *worker) settle(ctx context.Context, wr write, err error) error {
	p := jet.NewPatience(w.log.State.Patience)
	for jet.Unknown(err) || jet.WrongSequence(err) {
		m, rerr := w.log.State.Last(ctx, wr.msg.Subject)
		if rerr != nil {
			return rerr
		}
		var expect uint64
		if m != nil {
			at, perr := wire.ParsePosition(m.Header.Get(wire.PositionHeader))
			switch {
			case perr != nil:
				return fmt.Errorf("reading the record of vehicle %q: %w", wr.vehicle, perr)
			case at.Newer(wr.at):
				return fmt.Errorf("writing the record of vehicle %q: %w", wr.vehicle, jet.ErrFenced)
			case at == wr.at: // the fold of the same events
				w.written(wr, m.Sequence)
				return nil
			}
			expect = m.Sequence
		}
		if err := p.Again(ctx, err); err != nil {
			return fmt.Errorf("writing the record of vehicle %q: %w", wr.vehicle, err)
		}
		var ack *jetstream.PubAck
		c, cancel := context.WithTimeout(ctx, jet.CallTimeout)
		ack, err = w.log.JS.PublishMsg(c, jet.Follows(wr.msg, expect))
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
	c.Format, c.Program, c.Created, c.Published = wire.Format, w.cfg.Program, w.created, w.out
	c.Said = w.alarms.Seq
	c.Tick, c.Book, c.Records = w.fold.Now(), "", w.existed(c)
	if b := w.fold.Book(); b != nil {
		c.Book = b.Hash
	}
	c.Baselines, _ = w.fold.Baselines()
	c.Resumed = w.fold.Resumed()
	data, err := wire.Marshal(c)
	if err != nil {
		return fmt.Errorf("encoding the checkpoint of partition %d: %w", w.p, err)
	}
	for tries := 0; ; tries++ {
		err := w.check.Publish(ctx, &nats.Msg{Data: data})
		if err == nil {
			w.wrote = c.Seq
			w.mu.Lock()
			defer w.mu.Unlock()
			w.vehicles, w.saved = c.Records, time.Now()
			return nil
		}
		if !jet.Fenced(err) || tries > 0 {
			return err
		}
		m, rerr := w.check.Latest(ctx)
		if rerr != nil {
			return rerr
		}
		if m == nil {
			continue
		}
		there, rerr := wire.DecodeCheckpoint(m.Data)
		if rerr != nil {
			return rerr
		}
		if (wire.Position{Epoch: there.Epoch, Seq: there.Seq}).Newer(wire.Position{Epoch: c.Epoch, Seq: c.Seq}) {
			return err
		}
	}
}

// existed counts the vehicles that had a record at the checkpoint.
func (w *worker) existed(c wire.Checkpoint) (n int) {
	for _, r := range w.records {
		before := r.at.Epoch < c.Epoch // its sequence says nothing in this epoch
		if before && !r.gone || !before && r.at.Born <= c.Seq && (!r.gone || r.at.Seq > c.Seq) {
			n++
		}
	}
	return n
}

// publish writes those outputs that are not out yet.
func (w *worker) publish(ctx context.Context, seq uint64, out []engine.Output) error {
	list, err := wire.Messages(w.at.Epoch, seq, out)
	if err != nil {
		return fmt.Errorf("event %d: %w", seq, err)
	}
	for _, b := range list {
		if b = b.Skip(w.out); len(b.Outputs) == 0 {
			continue
		}
		if err := w.sendOut(ctx, b); err != nil {
			return err
		}
	}
	return nil
}

// sendOut publishes one message under the fence and notes that it is out.
func (w *worker) sendOut(ctx context.Context, b wire.Body) error {
	if err := w.say(ctx, b); err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.out = b.After()
	return nil
}

// say publishes a message of ALARMS, with when the log was made that it speaks of.
func (w *worker) say(ctx context.Context, b wire.Body) error {
	m, err := wire.AlarmMsg(b, w.created)
	if err != nil {
		return err
	}
	return w.alarms.Publish(ctx, m)
}
