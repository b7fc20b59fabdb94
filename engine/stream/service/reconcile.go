package service

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/stream"
	"telltale/engine/stream/wire"
)

// recovery is what a worker keeps in mind from its load until it has folded all
// of which something was published already. Meanwhile it keeps back what it would
// say, and writes nothing down.
type recovery struct {
	until uint64            // the last event of which something was published
	from  uint64            // the event at which the fold begins
	said  uint64            // the last message of ALARMS before that
	held  map[string]uint64 // by vehicle: where its record stands, if that is later
	// folded is what this program says of each alarm. Only where the outputs differ
	// from those published can the records differ from what was told.
	folded map[alarmID]span
	// whole has every alarm compared with what was published last, since a stream went
	// back: what of that still holds is not known.
	whole bool
	// again says that the log is read again from its oldest event, by a partition whose
	// last tick was tick.
	again bool
	tick  time.Time
}

type alarmID struct{ vehicle, rule, component string }

func (a alarmID) compare(b alarmID) int {
	return cmp.Or(strings.Compare(a.vehicle, b.vehicle), strings.Compare(a.rule, b.rule), strings.Compare(a.component, b.component))
}

func idOf(t *alarm.Transition) alarmID { return alarmID{t.Home(), t.Rule, t.Component} }

// span is the first and last transition of an alarm.
type span struct{ first, last *alarm.Transition }

// note takes in what folding an event said.
func (r *recovery) note(out []engine.Output) {
	if r == nil || r.whole {
		return
	}
	for _, o := range out {
		if t := o.Transition; t != nil {
			s := r.folded[idOf(t)]
			r.folded[idOf(t)] = span{cmp.Or(s.first, t), t}
		}
	}
}

// reconcile ends the recovery once seq is folded: where the records stand
// otherwise than what was published last, that is published, marked. After a crash
// on the way it begins anew and finds what is out.
func (w *worker) reconcile(ctx context.Context, seq uint64) error {
	if w.recovery == nil || seq < w.recovery.until {
		return nil
	}
	published, err := w.publishedLast(ctx)
	if err != nil {
		return err
	}
	out, err := w.differences(ctx, published)
	if err = cmp.Or(err, w.fold.Err()); err != nil {
		return err
	}
	list, err := wire.Messages(w.at.Epoch, w.out.Seq, out)
	if err != nil {
		return fmt.Errorf("reconciling at event %d: %w", seq, err)
	}
	for _, b := range list {
		b.N, b.More, b.Reconciled = w.out.N, false, true
		if err := w.sendOut(ctx, b); err != nil {
			return err
		}
	}
	if len(out) > 0 {
		w.logger.Warn("published alarms differ from the records (a stream went back, or this version judges differently); publishing the differences",
			"alarms", len(out), "program", w.cfg.Program)
	}
	w.recovery = nil
	return nil
}

// publishedLast is the last transition of each alarm among those that were
// published of the events since the checkpoint, those aside that the vehicle's
// record held when it was loaded.
func (w *worker) publishedLast(ctx context.Context) (map[alarmID]*alarm.Transition, error) {
	last := map[alarmID]*alarm.Transition{}
	err := w.log.EachOutput(ctx, w.recovery.said+1, w.alarms.Subject, func(m wire.Message, o engine.Output) error {
		if t := o.Transition; t != nil && (w.recovery.whole || m.Event > max(w.recovery.from, w.recovery.held[t.Home()])) {
			last[idOf(t)] = t
		}
		return nil
	})
	return last, err
}

// differences is what must be said so that what was told is how the records stand.
func (w *worker) differences(ctx context.Context, published map[alarmID]*alarm.Transition) ([]engine.Output, error) {
	if w.recovery.whole {
		return w.allDifferences(ctx, published)
	}
	ids := maps.Clone(w.recovery.folded)
	for id := range published {
		ids[id] = w.recovery.folded[id]
	}
	var out []engine.Output
	for _, id := range slices.SortedFunc(maps.Keys(ids), alarmID.compare) {
		said, folded := published[id], w.recovery.folded[id]
		switch {
		case said == nil: // told as it was before the first that was kept back
			before := *folded.first
			before.To = before.From
			if before.From == folded.last.To {
				before.Standing = folded.last.Standing
			}
			said = &before
		case folded.last != nil && sameMove(said, folded.last):
			continue
		}
		if t, ok := w.fold.Reconcile(*said); ok {
			out = append(out, engine.Output{Transition: &t})
		}
	}
	return out, nil
}

// allDifferences compares every alarm. One that stands and of which nothing is kept
// was told before the oldest that is, or where all is kept, never.
func (w *worker) allDifferences(ctx context.Context, published map[alarmID]*alarm.Transition) ([]engine.Output, error) {
	info, err := w.log.Alarms.Info(ctx)
	if err != nil {
		return nil, fmt.Errorf("asking for the state of stream %s: %w", stream.AlarmsStream, err)
	}
	for _, a := range w.fold.Alarms() {
		t := a.Transition
		if published[idOf(&t)] == nil && info.State.Msgs == info.State.LastSeq {
			t.To = "normal"
			published[idOf(&t)] = &t
		}
	}
	var out []engine.Output
	for _, id := range slices.SortedFunc(maps.Keys(published), alarmID.compare) {
		if t, ok := w.fold.Reconcile(*published[id]); ok {
			out = append(out, engine.Output{Transition: &t})
		}
	}
	return out, nil
}

func sameMove(a, b *alarm.Transition) bool {
	return a.Transition == b.Transition && a.From == b.From && a.To == b.To && a.Standing == b.Standing
}
