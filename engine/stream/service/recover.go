package service

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/wire"
)

// errRecordsLost says that records which the checkpoint counts are not there.
var errRecordsLost = errors.New("records are missing")

// load makes the worker the partition's owner and brings it to where the last
// owner left off. The claim comes first: from then on no one else can publish,
// so what is read after it does not change any more.
func (w *worker) load(ctx context.Context) error {
	epoch, err := w.claim(ctx)
	if err != nil {
		return err
	}
	c, err := w.readCheckpoint(ctx)
	if err != nil {
		return err
	}
	if err := w.resume(ctx, c, epoch); err != nil {
		return err
	}
	w.wrote, w.vehicles, w.saved = c.Seq, c.Records, time.Now()
	if err := w.loadOrBeginAgain(ctx, c); err != nil {
		return err
	}
	if w.at.Epoch != max(c.Epoch, 1) {
		w.wrote = math.MaxUint64 // the checkpoint is of another epoch, whatever its sequence
	}
	if w.recovery == nil && w.at.Seq < w.out.Seq {
		w.recovery = &recovery{until: w.out.Seq, from: w.at.Seq, said: w.at.Said, held: maps.Clone(w.heldAt), folded: map[alarmID]span{}}
	}
	return w.restore(ctx)
}

// loadOrBeginAgain loads the records. Where some are missing all events are folded
// again, onto those that are left if the log does not reach back to its beginning.
func (w *worker) loadOrBeginAgain(ctx context.Context, c wire.Checkpoint) error {
	err := w.loadRecords(ctx)
	if errors.Is(err, errRecordsLost) && w.first <= 1 {
		w.logger.Error("records lost; folding all events again", "error", err)
		w.startOver()
		return nil
	}
	if !errors.Is(err, errRecordsLost) && !errors.Is(err, ErrWentBack) {
		return err
	}
	if err := w.nextEpoch(ctx, c, err); err != nil {
		return err
	}
	return w.loadRecords(ctx)
}

// restore puts the book in force and the records that stand where the fold begins.
func (w *worker) restore(ctx context.Context) error {
	book, err := w.shelf.Book(ctx, w.at.Book)
	if err != nil {
		return err
	}
	set, err := w.shelf.Baselines(ctx, w.at.Baselines)
	if err != nil {
		return err
	}
	w.mu.Lock()
	w.fold.Restore(w.at.Tick, book)
	w.fold.Resume(w.at.Resumed)
	w.fold.RestoreBaselines(w.at.Baselines, set)
	err = w.release()
	w.mu.Unlock()
	if err != nil || w.at.Seq < w.target {
		return err
	}
	return w.reconcile(ctx, w.at.Seq) // no event will come to do it after
}

// claim publishes that the partition is this owner's, after what was said last, and
// returns the epoch in which it is.
func (w *worker) claim(ctx context.Context) (epoch uint64, err error) {
	for {
		m, err := w.alarms.Latest(ctx)
		if err != nil {
			return 0, err
		}
		info, err := w.logState(ctx) // after what it is spoken of
		if err != nil {
			return 0, err
		}
		c := wire.Body{Message: wire.Message{Epoch: 1, Claim: w.claimNow()}}
		if m != nil {
			last, err := wire.DecodeBody(m.Data)
			if err != nil {
				return 0, fmt.Errorf("message %d on %q: %w", m.Sequence, m.Subject, err)
			}
			w.out, c.Epoch = last.After(), last.Epoch
			if back := w.spokenOf(m.Header.Get(wire.CreatedHeader), info); back != nil {
				w.tellBack(back, c.Epoch+1)
				w.out, c.Epoch, c.Claim.Back = wire.Progress{}, c.Epoch+1, back.Error()
			}
		}
		c.Event, c.N = w.out.Seq, w.out.N
		if err := w.say(ctx, c); !jet.Fenced(err) {
			return c.Epoch, err
		}
	}
}

func (w *worker) claimNow() *wire.Claim {
	return &wire.Claim{Owner: w.alarms.Owner, Replica: w.owner, Program: w.cfg.Program, Time: time.Now().UTC()}
}

func (w *worker) readCheckpoint(ctx context.Context) (wire.Checkpoint, error) {
	m, err := w.check.Latest(ctx)
	if err != nil || m == nil {
		return wire.Checkpoint{}, err
	}
	c, err := wire.DecodeCheckpoint(m.Data)
	if err != nil {
		return c, fmt.Errorf("partition %d: %w", w.p, err)
	}
	return c, nil
}

// lastOf is the sequence of the last event that a partition folds; 0 if none.
func lastOf(ctx context.Context, l *stream.Log, p int) (uint64, error) {
	var seq uint64
	for _, subject := range feed.Subjects(p) {
		m, err := l.Events.Last(ctx, subject)
		if err != nil {
			return 0, err
		}
		if m != nil {
			seq = max(seq, m.Sequence)
		}
	}
	return seq, nil
}

// loadRecords reads the partition's records. They are held until the fold is at
// their position; those of an epoch before stand at its beginning.
func (w *worker) loadRecords(ctx context.Context) error {
	w.records, w.held, w.heldAt = map[string]stored{}, nil, map[string]uint64{}
	ahead, whose := uint64(0), ""
	err := w.log.State.Each(ctx, 1, wire.RecordSubject(w.p, "*"), func(m jetstream.Msg, seq uint64) error {
		v, err := wire.VehicleOf(m.Subject())
		if err != nil {
			return err
		}
		at, err := wire.ParsePosition(m.Headers().Get(wire.PositionHeader))
		if err != nil {
			return fmt.Errorf("reading record %q: %w", m.Subject(), err)
		}
		gone := len(m.Data()) == 0
		w.records[v] = stored{last: seq, at: at, gone: gone}
		if at.Epoch < w.at.Epoch {
			at.Seq = 0
		}
		if at.Seq > ahead {
			ahead, whose = at.Seq, v
		}
		if !gone || at.Seq > w.at.Seq {
			w.held = append(w.held, heldRecord{v, at, m.Data()})
		}
		if at.Seq > w.at.Seq {
			w.heldAt[v] = at.Seq
		}
		return nil
	})
	if err != nil {
		return err
	}
	slices.SortFunc(w.held, func(a, b heldRecord) int { return cmp.Compare(a.at.Seq, b.at.Seq) })
	if ahead > w.target { // or the owner before wrote while this was read
		if _, err := w.logState(ctx); err != nil {
			return err
		}
		if ahead > w.target {
			return fmt.Errorf("%w: partition %d has events up to %d, the record of vehicle %q is at %d", ErrWentBack, w.p, w.target, whose, ahead)
		}
	}
	if n := w.existed(w.at); n < w.at.Records {
		return fmt.Errorf("%w: partition %d had %d vehicles at event %d and stream %s holds %d of them", errRecordsLost, w.p, w.at.Records, w.at.Seq, stream.StateStream, n)
	}
	return nil
}

// startOver forgets the records, so that the fold begins with the first event.
// What it says again is not published again.
func (w *worker) startOver() {
	w.at = wire.Checkpoint{Epoch: w.at.Epoch}
	w.held, w.heldAt = nil, nil
	w.fold = w.newFold()
}
