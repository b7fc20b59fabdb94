package stream

import (
	"context"
	"fmt"

	"telltale/engine"
)

// publish writes those outputs that are not out yet.
func (w *worker) publish(ctx context.Context, seq uint64, out []engine.Output) error {
	list, err := messages(w.at.Epoch, seq, out)
	if err != nil {
		return fmt.Errorf("event %d: %w", seq, err)
	}
	for _, b := range list {
		if b = b.skip(w.out); len(b.Outputs) == 0 {
			continue
		}
		if err := w.sendOut(ctx, b); err != nil {
			return err
		}
	}
	return nil
}

// sendOut publishes one message under the fence and notes that it is out.
func (w *worker) sendOut(ctx context.Context, b body) error {
	m, err := w.alarmMsg(b)
	if err != nil {
		return err
	}
	if err := w.alarms.publish(ctx, m); err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.out = b.after()
	return nil
}

// skip leaves out what is published already.
func (b body) skip(out place) body {
	switch {
	case out.Seq > b.Event:
		b.Outputs = nil
	case out.Seq == b.Event && out.N > b.N:
		n := min(out.N-b.N, len(b.Outputs))
		b.N, b.Outputs = b.N+n, b.Outputs[n:]
	}
	return b
}
