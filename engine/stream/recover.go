package stream

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/intake"
)

// ErrWentBack says that a stream holds less than it did: its store was rolled
// back or it was made anew. Going on would take new events for old ones.
var ErrWentBack = errors.New("the log went back")

// errRecordsLost says that records which the checkpoint counts are not there.
var errRecordsLost = errors.New("records are missing")

// load makes the worker the partition's owner and brings it to where the last
// owner left off. The claim comes first: from then on no one else can publish,
// so what is read after it does not change any more.
func (w *worker) load(ctx context.Context) error {
	if err := w.claim(ctx); err != nil {
		return err
	}
	c, err := w.readCheckpoint(ctx)
	if err != nil {
		return err
	}
	info, err := w.checkLog(ctx, c)
	if err != nil {
		return err
	}
	w.at = c
	w.at.Epoch = max(c.Epoch, 1)
	w.wrote, w.vehicles, w.saved = c.Seq, c.Records, time.Now()
	switch err := w.loadRecords(ctx, c); {
	case errors.Is(err, errRecordsLost) && info.State.FirstSeq <= 1:
		w.say.Error("records were lost; folding all events again", "error", err)
		w.startOver()
	case err != nil:
		return err
	}
	if w.at.Seq < w.out.Seq {
		w.recovery = newRecovery(w)
	}
	book, err := w.shelf.book(ctx, w.at.Book)
	if err != nil {
		return err
	}
	set, err := w.shelf.fleet.set(ctx, w.log, w.at.Baselines)
	if err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.fold.Restore(w.at.Tick, book)
	w.fold.RestoreBaselines(w.at.Baselines, set)
	return w.release()
}

// claim publishes that the partition is this owner's, after what was said last.
func (w *worker) claim(ctx context.Context) error {
	for {
		m, err := w.alarms.read(ctx)
		if err != nil {
			return err
		}
		c := body{Message: Message{Epoch: 1, Claim: &Claim{Owner: w.alarms.owner, Program: w.cfg.Program, Time: time.Now().UTC()}}}
		if m != nil {
			last, err := decodeBody(m.Data)
			if err != nil {
				return fmt.Errorf("message %d on %q: %w", m.Sequence, m.Subject, err)
			}
			if made := m.Header.Get(createdHeader); made != "" && made != w.log.created.UTC().Format(time.RFC3339Nano) {
				return fmt.Errorf("%w: stream %s was made at %s, partition %d last spoke of one made at %s",
					ErrWentBack, EventsStream, w.log.created.UTC().Format(time.RFC3339Nano), w.p, made)
			}
			w.out = last.after()
			c.Epoch = last.Epoch
		}
		c.Event, c.N = w.out.Seq, w.out.N
		msg, err := w.log.alarmMsg(c)
		if err != nil {
			return err
		}
		if err := w.alarms.publish(ctx, msg); !fenced(err) {
			return err
		}
	}
}

func (w *worker) readCheckpoint(ctx context.Context) (checkpoint, error) {
	m, err := w.check.read(ctx)
	if err != nil || m == nil {
		return checkpoint{}, err
	}
	c, err := decodeCheckpoint(m.Data)
	if err != nil {
		return c, fmt.Errorf("partition %d: %w", w.p, err)
	}
	return c, nil
}

// checkLog makes sure that the log still holds what the checkpoint and the
// outputs speak of, and finds the partition's last event.
func (w *worker) checkLog(ctx context.Context, c checkpoint) (*jetstream.StreamInfo, error) {
	info, err := ask(ctx, w.log.patience, func(ctx context.Context) (*jetstream.StreamInfo, error) { return w.log.events.Info(ctx) })
	if err != nil {
		return nil, fmt.Errorf("asking for the state of stream %s: %w", EventsStream, err)
	}
	if w.target, err = w.log.lastOf(ctx, w.p); err != nil {
		return nil, err
	}
	first, last := info.State.FirstSeq, info.State.LastSeq
	switch {
	case w.out.Seq > last:
		return nil, fmt.Errorf("%w: stream %s ends at %d, partition %d has spoken of event %d", ErrWentBack, EventsStream, last, w.p, w.out.Seq)
	case c.Seq == 0:
		return info, nil
	case !c.Created.Equal(info.Created):
		return nil, fmt.Errorf("%w: stream %s was made at %s, the checkpoint of partition %d is of one made at %s", ErrWentBack,
			EventsStream, info.Created.UTC().Format(time.RFC3339Nano), w.p, c.Created.UTC().Format(time.RFC3339Nano))
	case c.Seq > last:
		return nil, fmt.Errorf("%w: stream %s ends at %d, the checkpoint of partition %d is at %d", ErrWentBack, EventsStream, last, w.p, c.Seq)
	case w.out.before(c.Published):
		return nil, fmt.Errorf("%w: stream %s lacks what partition %d said of event %d", ErrWentBack, AlarmsStream, w.p, c.Published.Seq)
	case c.Seq+1 < first:
		return nil, fmt.Errorf("stream %s begins at %d, the checkpoint of partition %d is at %d: the events between are gone", EventsStream, first, w.p, c.Seq)
	}
	return info, w.checkIdentity(ctx, c, first)
}

// checkIdentity compares the checkpoint's last event with the one stored there.
func (w *worker) checkIdentity(ctx context.Context, c checkpoint, first uint64) error {
	if c.Seq < first {
		return nil // purged, and all after it is there
	}
	m, err := w.log.event(ctx, c.Seq)
	if err != nil {
		return err
	}
	if m == nil || digestOf(m.Subject, m.Data) != c.Digest {
		return fmt.Errorf("%w: event %d of stream %s is not the one that partition %d folded (%v)", ErrWentBack, c.Seq, EventsStream, w.p, c.Last)
	}
	return nil
}

// lastOf is the sequence of the last event that a partition folds; 0 if none.
func (l *Log) lastOf(ctx context.Context, p int) (uint64, error) {
	var seq uint64
	for _, subject := range []string{fmt.Sprintf("telltale.event.%d.>", p), "telltale.all.>"} {
		m, err := lastOn(ctx, l.events, subject, l.patience)
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
// their position.
func (w *worker) loadRecords(ctx context.Context, c checkpoint) error {
	err := w.log.each(ctx, w.log.state, recordSubject(w.p, "*"), func(m jetstream.Msg, seq uint64) error {
		v, err := intake.Untoken(m.Subject()[strings.LastIndexByte(m.Subject(), '.')+1:])
		if err != nil {
			return fmt.Errorf("reading record %q: %w", m.Subject(), err)
		}
		at, err := parsePosition(m.Headers().Get(positionHeader))
		if err != nil {
			return fmt.Errorf("reading record %q: %w", m.Subject(), err)
		}
		if at.seq > w.target {
			return fmt.Errorf("%w: partition %d has events up to %d, the record of vehicle %q is at %d", ErrWentBack, w.p, w.target, v, at.seq)
		}
		gone := len(m.Data()) == 0
		w.records[v] = stored{last: seq, at: at, gone: gone}
		if !gone || at.seq > c.Seq {
			w.held = append(w.held, heldRecord{v, at, m.Data()})
		}
		return nil
	})
	if err != nil {
		return err
	}
	slices.SortFunc(w.held, func(a, b heldRecord) int { return cmp.Compare(a.at.seq, b.at.seq) })
	w.heldAt = map[string]uint64{}
	n := 0
	for v, r := range w.records {
		if existed(r, c.Seq) {
			n++
		}
		if r.at.seq > c.Seq {
			w.heldAt[v] = r.at.seq
		}
	}
	if n != c.Records {
		return fmt.Errorf("%w: partition %d had %d vehicles at event %d and stream %s holds %d of them", errRecordsLost, w.p, c.Records, c.Seq, StateStream, n)
	}
	return nil
}

// startOver forgets the records, so that the fold begins with the first event.
// What it says again is not published again.
func (w *worker) startOver() {
	w.at = checkpoint{Epoch: w.at.Epoch}
	w.held, w.heldAt = nil, nil
	w.fold = engine.NewPartition()
}
