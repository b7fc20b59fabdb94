package service

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/intake"
	"telltale/engine/record"
	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/share"
	"telltale/engine/stream/sight"
	"telltale/engine/stream/wire"
	"telltale/rules"
)

// worker owns one partition: it folds the partition's events, publishes what
// they say, and writes the records and the checkpoint behind.
type worker struct {
	log     *stream.Log
	cfg     Config
	shelf   shelf
	p       int
	owner   string // the replica that it works for
	logger  *slog.Logger
	alarms  *jet.Fence // on telltale.alarm.<p>
	check   *jet.Fence // on the checkpoint
	records map[string]stored
	dirty   map[string]bool // records to be written
	wrote   uint64          // the checkpoint's sequence
	putOff  int             // times to write that were left out since
	target  uint64          // the partition's last event when it was loaded
	doubt   chan struct{}   // asks whether the partition is still this owner's
	created time.Time       // when the log of events was made that it reads
	first   uint64          // the oldest event that it kept when the worker was loaded
	// reconnects is how often the connection had come back when the log was looked at.
	reconnects uint64
	tap        *feed.Tap // hands over the events; nil: the worker reads them itself
	// recovery is nil once what was published is reconciled with the records.
	recovery *recovery
	// slow has room for the long questions that are worked on at once in the process; nil
	// where nobody bounds them.
	slow chan struct{}
	sees *sight.Reader // nil: all questions that name what may be seen are refused

	// mu guards what follows against those who ask. Only the worker changes it, so
	// it reads without.
	mu       sync.Mutex
	moved    *sync.Cond // at or failed changed
	fold     *engine.Partition
	held     []heldRecord      // stored at a later position than the fold has reached, by position
	heldAt   map[string]uint64 // and the sequences of these positions
	ticks    *intake.Ticks     // of a clock that follows the events; nil until the first
	torn     bool              // the fold holds an event that at does not count yet
	at       wire.Checkpoint   // the position of the fold
	out      wire.Progress     // outputs before it are published
	seen     counts
	vehicles int                // with a record at the last checkpoint
	saved    time.Time          // when the last checkpoint was written, by the wall
	reached  map[string]reached // as they were counted last, by Question.Sees
	// failed is why the worker ended; errStopped if it was asked to.
	failed error
}

// shelf has the books and the sets of the fleet's baselines, by their hashes. It may
// be asked by several workers at once, who only read what they get.
type shelf interface {
	Book(ctx context.Context, hash string) (*rules.Book, error)
	Baselines(ctx context.Context, hash string) (*fleet.Set, error)
}

// stored is what is known of a record on the stream.
type stored struct {
	last uint64 // the sequence of its message in STATE, expected by the next write
	at   wire.Position
	gone bool
}

// heldRecord is one that was written after the checkpoint. The fold reaches its
// position without it: the record holds these events already.
type heldRecord struct {
	vehicle string
	at      wire.Position
	body    []byte
}

func newWorker(l *stream.Log, cfg Config, s shelf, p int) *worker {
	w := &worker{
		log: l, cfg: cfg, shelf: s, p: p, logger: l.Logger.With("partition", p),
		alarms:  l.Alarms.Fence(wire.AlarmSubject(p)),
		check:   l.State.Fence(wire.CheckpointSubject(p)),
		seen:    counts{stages: map[string]int{}, reasons: map[string]int{}},
		records: map[string]stored{}, dirty: map[string]bool{}, doubt: make(chan struct{}, 1), reached: map[string]reached{},
	}
	w.moved = sync.NewCond(&w.mu)
	w.fold = w.newFold()
	return w
}

// newFold is a partition that has folded nothing and knows which names are not its own.
func (w *worker) newFold() *engine.Partition {
	f := engine.NewPartition()
	f.Elsewhere = func(name string) bool { return stream.Partition(name) != w.p }
	f.Rename = intake.Renamed
	return f
}

// events delivers those behind the position of the fold.
func (w *worker) events(ctx context.Context) (<-chan jetstream.Msg, <-chan error, error) {
	if w.tap != nil {
		return w.tap.Msgs, w.tap.Ended, nil
	}
	return w.log.Events.Read(ctx, w.at.Seq+1, feed.Subjects(w.p)...)
}

// behind is how many events wait to be folded.
func (w *worker) behind() uint64 {
	if w.tap != nil {
		return w.tap.Behind()
	}
	return w.seen.lag
}

// grace is how long an event that is being folded has to come to its end after
// the worker was asked to stop.
const grace = 1500 * time.Millisecond

// run folds until the context ends or something cannot go on. The partition must
// be loaded.
func (w *worker) run(ctx context.Context) error {
	work, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	defer context.AfterFunc(ctx, func() { time.AfterFunc(grace, cancel) })()
	msgs, ended, err := w.events(ctx)
	switch {
	case err != nil && ctx.Err() != nil:
		return errStopped
	case err != nil:
		return err
	}
	// The partitions write in turn, not all at one moment, in which nothing would be said.
	flush := time.NewTimer(w.cfg.Flush * time.Duration(w.p+1) / stream.Partitions)
	defer flush.Stop()
	unpack := time.NewTicker(unpackEvery)
	defer unpack.Stop()
	for {
		select {
		case m := <-msgs:
			err = w.take(work, m)
			if err == nil && len(w.dirty) >= maxDirty {
				err = w.flush(work)
			}
		case <-flush.C:
			flush.Reset(w.cfg.Flush)
			if w.writesNow() {
				err = w.flush(work)
			}
			if err == nil && w.cfg.Share {
				err = errors.Join(w.checkOwner(work), w.checkLog(work))
			}
		case <-w.doubt:
			err = w.checkOwner(work)
		case <-unpack.C:
			more := false
			if more, err = w.unpack(); !more {
				unpack.Stop()
			}
		case err = <-ended:
		case <-ctx.Done():
			err = ctx.Err()
		}
		switch {
		case ctx.Err() != nil && !jet.Fenced(err):
			return w.finish(ctx)
		case err != nil:
			return err
		}
	}
}

// writesNow reports whether the records are written at this time to do so. While the
// fold is far behind, the same vehicles change again at once, and most of such times
// are left out; maxDirty bounds what waits.
func (w *worker) writesNow() bool {
	const far, most = 1000, 5
	if w.putOff++; w.behind() > far && w.putOff <= most {
		return false
	}
	w.putOff = 0
	return true
}

// checkOwner looks whether somebody has claimed the partition since. An owner that
// writes is told by the fence; one that has nothing to write would go on answering.
func (w *worker) checkOwner(ctx context.Context) error {
	m, err := w.log.Alarms.Last(ctx, w.alarms.Subject)
	if err != nil {
		return err
	}
	if m != nil && m.Sequence > w.alarms.Seq {
		return fmt.Errorf("looking for the owner of partition %d: %w", w.p, jet.ErrFenced)
	}
	return nil
}

// finish writes down where the partition stands. The context has ended.
func (w *worker) finish(ctx context.Context) error {
	if w.torn || context.Cause(ctx) == share.ErrCrashed {
		return errStopped // when torn, the records are ahead of the position
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer cancel()
	if err := w.flush(ctx); err != nil {
		// What is not written down is folded again at the next start.
		w.logger.Warn("stopped before the records were written; their events are folded again at the next start", "error", err)
	}
	return errStopped
}

// take folds one message of the log and publishes what it says. Nothing is
// counted as folded before that is out.
func (w *worker) take(ctx context.Context, m jetstream.Msg) error {
	meta, err := m.Metadata()
	if err != nil {
		return fmt.Errorf("reading the log: %w", err)
	}
	seq := meta.Sequence.Stream
	if seq <= w.at.Seq {
		return fmt.Errorf("%w: event %d follows event %d", ErrWentBack, seq, w.at.Seq)
	}
	ev, refusal, bad := w.decode(m, meta.Timestamp)
	var out []engine.Output
	switch {
	case refusal == nil:
		known, err := w.known(ctx, ev, m, seq)
		if err != nil {
			return err
		}
		if known {
			break
		}
		switch d := ev.Data.(type) {
		case *event.BookData:
			d.Book, err = w.shelf.Book(ctx, d.Hash)
		case *fleet.BaselineData:
			d.Set, err = w.shelf.Baselines(ctx, d.Hash)
		}
		if err == nil {
			out, err = w.applyInTime(ev, seq)
		}
		if err != nil {
			return err
		}
	case w.p == 0 || !feed.ForAll(m.Subject()): // of what all read, the first one says so
		out = []engine.Output{{Refused: refusal}}
	}
	w.narrow(m, out)
	w.recovery.note(out)
	if out, err = w.handOver(ctx, m, out); err != nil {
		return err
	}
	if err := w.publish(ctx, seq, out); err != nil {
		return err
	}
	if err := w.reconcile(ctx, seq); err != nil {
		return err
	}
	w.count(out, bad, meta.NumPending)
	return w.advance(seq, ev, wire.DigestOf(m.Subject(), m.Data()))
}

// narrow leaves on the part of a list what the scope of its turn lets on it. The scope comes
// with the turn, so that the part is the same whenever it is folded.
func (w *worker) narrow(m jetstream.Msg, out []engine.Output) {
	scope := m.Headers().Get(stream.ScopeHeader)
	if scope == "" || w.cfg.Narrow == nil || !feed.ForAll(m.Subject()) {
		return
	}
	w.mu.Lock() // those who ask fill the records' caches
	defer w.mu.Unlock()
	for _, o := range out {
		if o.Turn == nil {
			continue
		}
		if err := w.cfg.Narrow(scope, w.fold.Registered, o.Turn); err != nil {
			w.logger.Warn("all is put on a list; what its reader hears of is taken out later", "list", o.Turn.Digest, "error", err)
		}
	}
}

// decode reads the event, or says why it cannot be used.
func (w *worker) decode(m jetstream.Msg, stored time.Time) (event.Event, *alarm.Refusal, error) {
	var ev event.Event
	var err error
	if feed.ForAll(m.Subject()) {
		ev, err = intake.DecodeInternal(m.Subject(), m.Data())
	} else {
		ev, err = intake.DecodeMessage(m.Subject(), m.Data())
		if err == nil && !w.cfg.ClockFollowsEvents {
			err = intake.InFuture(ev, stored)
		}
	}
	if err == nil {
		return ev, nil, nil
	}
	r := &alarm.Refusal{Refused: err.Error(), Class: intake.ClassOf(err), Vehicle: ev.Vehicle, Time: stored.UTC()}
	if ev.ID != (event.ID{}) {
		id := ev.ID
		r.Event = &id
	}
	return ev, r, err
}

// applyInTime folds the event after the midnights that its reported time passes,
// where the clock follows the events: the ticks of the log come behind events that
// are published fast, and the partition would judge them by yesterday's date. A
// tick of the log that brings nothing new is left out.
func (w *worker) applyInTime(ev event.Event, seq uint64) (out []engine.Output, err error) {
	if !w.cfg.ClockFollowsEvents {
		return w.apply(ev, seq)
	}
	if w.ticks == nil {
		w.ticks = intake.NewTicks(false)
		w.ticks.Before(event.Event{Recorded: w.fold.Now()})
	}
	if ev.Kind == event.TickEvent {
		w.ticks.Before(event.Event{Recorded: ev.Time})
		if !ev.Time.After(w.fold.Now()) {
			return nil, nil
		}
	} else if !ev.Kind.Internal() && !ev.Recorded.Equal(stream.Unclocked) {
		for _, t := range w.ticks.Before(ev) {
			more, err := w.apply(t, seq)
			if err != nil {
				return nil, err
			}
			out = append(out, more...)
		}
	}
	more, err := w.apply(ev, seq)
	return append(out, more...), err
}

// apply folds the event, unless the vehicle's record holds it already.
func (w *worker) apply(ev event.Event, seq uint64) ([]engine.Output, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if seq <= w.heldAt[recordOf(ev)] {
		return nil, nil
	}
	w.torn = true
	out := w.fold.Apply(ev)
	for _, v := range w.fold.Changed() {
		w.dirty[v] = true
	}
	return out, w.fold.Err()
}

// recordOf is the name of the record that an event changes; "" for one of all.
func recordOf(ev event.Event) string {
	switch d, ok := ev.Data.(*record.MergeData); {
	case !ok:
		return ev.Vehicle
	case d.Of == nil:
		return d.From
	default:
		return d.Into
	}
}

// advance moves the position to seq and takes in the records that stand there.
func (w *worker) advance(seq uint64, ev event.Event, digest uint64) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.at.Seq, w.at.Digest, w.at.Last, w.torn = seq, digest, nil, false
	if ev.ID != (event.ID{}) {
		id := ev.ID
		w.at.Last = &id
	}
	w.moved.Broadcast()
	return w.release()
}

// release loads the held records up to the position of the fold.
func (w *worker) release() error {
	for len(w.held) > 0 && w.held[0].at.Seq <= w.at.Seq {
		h := w.held[0]
		w.held[0], w.held = heldRecord{}, w.held[1:]
		delete(w.heldAt, h.vehicle)
		if len(h.body) == 0 {
			continue // it went
		}
		if err := w.fold.Load(h.vehicle, h.body); err != nil {
			return err
		}
	}
	return nil
}

// fail ends the waiting of those who wait for the worker.
func (w *worker) fail(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.failed = err
	w.moved.Broadcast()
}

// wait blocks until the events up to seq are folded and what they say is out.
func (w *worker) wait(ctx context.Context, seq uint64) error {
	stop := context.AfterFunc(ctx, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.moved.Broadcast()
	})
	defer stop()
	w.mu.Lock()
	defer w.mu.Unlock()
	for w.at.Seq < seq {
		if w.failed != nil {
			return w.failed
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("waiting for partition %d to fold event %d, it is at %d: %w", w.p, seq, w.at.Seq, err)
		}
		w.moved.Wait()
	}
	return nil
}

// Records are read when something is asked of their vehicles, and the others so many
// at a time, which makes a million of them some minutes of an eighth of a processor.
const (
	unpackEvery = 50 * time.Millisecond
	unpackMost  = 20
)

// unpack reads some of the records that nothing was asked of since the start, before
// somebody asks for a list of all.
func (w *worker) unpack() (more bool, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	more = w.fold.Unpack(unpackMost)
	return more || len(w.held) > 0, w.fold.Err()
}
