package service

import (
	"context"
	"fmt"

	"telltale/engine"
	"telltale/engine/stream/wire"
)

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
	m, err := w.alarmMsg(b)
	if err != nil {
		return err
	}
	if err := w.alarms.Publish(ctx, m); err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.out = b.After()
	return nil
}
