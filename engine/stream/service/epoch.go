package service

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/wire"
)

// ErrWentBack says that a stream holds less than it did: its store was rolled
// back or it was made anew, so that new events come under sequences that others had.
//
// A worker that finds the log of events so tells the operator and begins an epoch:
// it keeps its records and reads the log again from the oldest event that is kept.
// Events that the records hold are known by their identity and change nothing; those
// that came since, or that a gateway sends again, are folded. At the end what was
// told of each alarm is compared with how it stands. All positions count within
// their epoch, the higher epoch wins.
var ErrWentBack = feed.ErrWentBack

// logState asks for the state of the log of events, when it was made, and the
// partition's last event there.
func (w *worker) logState(ctx context.Context) (*jetstream.StreamInfo, error) {
	info, err := w.log.Events.Info(ctx)
	if err != nil {
		return nil, fmt.Errorf("asking for the state of stream %s: %w", stream.EventsStream, err)
	}
	w.created, w.first = info.Created, info.State.FirstSeq
	w.target, err = lastOf(ctx, w.log, w.p)
	return info, err
}

// spokenOf says how the log lacks the event that the partition spoke of last; nil if
// it does not. made is when the log was made that it spoke of.
func (w *worker) spokenOf(made string, info *jetstream.StreamInfo) error {
	switch {
	case made != "" && made != wire.Stamp(info.Created):
		return fmt.Errorf("%w: stream %s was made at %s, partition %d last published from one made at %s", ErrWentBack, stream.EventsStream, wire.Stamp(info.Created), w.p, made)
	case w.out.Seq > info.State.LastSeq:
		return fmt.Errorf("%w: stream %s ends at %d, partition %d has published up to event %d", ErrWentBack, stream.EventsStream, info.State.LastSeq, w.p, w.out.Seq)
	}
	return nil
}

// resume sets where the fold begins: after the checkpoint, or with the oldest event
// of a log that went back.
func (w *worker) resume(ctx context.Context, c wire.Checkpoint, epoch uint64) error {
	info, err := w.logState(ctx) // after the checkpoint, which must not be ahead of it
	if err != nil {
		return err
	}
	w.at = c
	w.at.Epoch = max(c.Epoch, 1)
	if epoch > w.at.Epoch { // begun by this claim, or before a crash
		w.readAgain(c, epoch, info.State.FirstSeq)
		return nil
	}
	back, err := w.wentBack(ctx, c, info)
	switch {
	case err != nil:
		return err
	case back != nil:
		return w.nextEpoch(ctx, c, back)
	case c.Seq+1 < info.State.FirstSeq:
		w.logger.Error("events lost: removed from the log before this partition folded them", "from", c.Seq+1, "to", info.State.FirstSeq-1)
	}
	if w.out.Before(c.Published) {
		w.logger.Error("stream "+stream.AlarmsStream+" went back; publishing again what still holds", "published up to", c.Published.Seq)
		w.out = c.Published
		w.recovery = &recovery{until: w.target, whole: true}
	}
	return nil
}

// wentBack says how the log is not the one that the checkpoint was taken of; nil if
// it is.
func (w *worker) wentBack(ctx context.Context, c wire.Checkpoint, info *jetstream.StreamInfo) (back, err error) {
	switch {
	case c.Seq == 0:
		return nil, nil
	case !c.Created.Equal(info.Created):
		return fmt.Errorf("%w: stream %s was made at %s, the checkpoint of partition %d is of one made at %s", ErrWentBack,
			stream.EventsStream, wire.Stamp(info.Created), w.p, wire.Stamp(c.Created)), nil
	case c.Seq > info.State.LastSeq:
		return fmt.Errorf("%w: stream %s ends at %d, the checkpoint of partition %d is at %d", ErrWentBack, stream.EventsStream, info.State.LastSeq, w.p, c.Seq), nil
	case c.Seq < info.State.FirstSeq:
		return nil, nil // taken out, and all after it is there
	}
	m, err := w.log.Events.Get(ctx, c.Seq)
	if err == nil && (m == nil || wire.DigestOf(m.Subject, m.Data) != c.Digest) {
		back = fmt.Errorf("%w: event %d of stream %s is not the one that partition %d folded (%v)", ErrWentBack, c.Seq, stream.EventsStream, w.p, c.Last)
	}
	return back, err
}

// nextEpoch begins one: the claim says so first, and why.
func (w *worker) nextEpoch(ctx context.Context, c wire.Checkpoint, back error) error {
	info, err := w.logState(ctx)
	if err != nil {
		return err
	}
	epoch := max(c.Epoch, 1) + 1
	w.tellBack(back, epoch)
	w.out = wire.Progress{}
	claim := w.claimNow()
	claim.Back = back.Error()
	if err := w.say(ctx, wire.Body{Message: wire.Message{Epoch: epoch, Claim: claim}}); err != nil {
		return err
	}
	w.readAgain(c, epoch, info.State.FirstSeq)
	return nil
}

func (w *worker) tellBack(back error, epoch uint64) {
	w.logger.Error("event log went back, acknowledged events may be lost; folding again from its oldest event", "error", back, "epoch", epoch)
}

// readAgain has the fold begin with the oldest event that is kept. Nothing is
// written down before it is where the log ended, so that a crash on the way has it
// begin again.
func (w *worker) readAgain(c wire.Checkpoint, epoch, first uint64) {
	w.at = wire.Checkpoint{Epoch: epoch, Seq: max(first, 1) - 1, Tick: c.Tick, Resumed: c.Resumed, Book: c.Book, Baselines: c.Baselines}
	w.recovery = &recovery{until: w.target, whole: true, again: true, tick: c.Tick}
}

// known reports whether an event that is read again is one of the service's own that
// has had its effect: records keep no identities of these. Of those that put
// something in force only the last one counts.
func (w *worker) known(ctx context.Context, ev event.Event, m jetstream.Msg, seq uint64) (bool, error) {
	if w.recovery == nil || !w.recovery.again || seq > w.recovery.until || !ev.Kind.Internal() {
		return false, nil
	}
	if ev.Kind == event.TickEvent || ev.Kind == event.TurnEvent || ev.Kind == event.SurveyEvent {
		return !ev.Time.After(w.recovery.tick), nil
	}
	last, err := w.log.Events.Last(ctx, m.Subject())
	if err != nil || last == nil || last.Sequence > seq {
		return err == nil, err
	}
	switch d := ev.Data.(type) {
	case *event.BookData:
		b := w.fold.Book()
		return b != nil && b.Hash == d.Hash, nil
	case *fleet.BaselineData:
		hash, _ := w.fold.Baselines()
		return hash == d.Hash, nil
	}
	return false, nil
}

// checkLog looks, after the connection was lost, whether the log is still the one
// that was read: its server may have come back with an older store.
func (w *worker) checkLog(ctx context.Context) error {
	n := w.log.Conn.Stats().Reconnects
	if n == w.reconnects {
		return nil
	}
	info, err := w.log.Events.Info(ctx)
	if err != nil {
		return fmt.Errorf("asking for the state of stream %s: %w", stream.EventsStream, err)
	}
	c := w.at
	c.Created = w.created
	back, err := w.wentBack(ctx, c, info)
	if err == nil && back == nil {
		w.reconnects = n
	}
	return errors.Join(back, err)
}
