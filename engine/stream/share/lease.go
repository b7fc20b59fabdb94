package share

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream/jet"
)

// lease is a key that one replica at a time holds, for work that no fence of a
// partition guards. It runs out when it is not renewed. Who wakes after that finds
// out with the next renewal, a moment late: what is written in between has to be
// guarded by itself.
type lease struct {
	kv      jetstream.KeyValue
	key, id string
	rev     uint64
	renewed time.Time
}

// Lease does the work while this replica has the seat's lease, which it waits for:
// the one who had it before ends its work first, or is missed.
func (s *Seating) Lease(ctx context.Context, seat string, work func(context.Context) error) error {
	kv, err := owners(ctx, s.log)
	if err != nil {
		return err
	}
	le := &lease{kv: kv, key: leased + seat, id: s.id}
	if err := le.take(ctx); err != nil {
		return fmt.Errorf("taking the seat %q: %w", seat, err)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	kept := make(chan struct{})
	go func() {
		defer close(kept)
		if err := le.keep(ctx); err != nil {
			cancel(fmt.Errorf("keeping the seat %q: %w", seat, err))
		}
	}()
	err = work(ctx)
	if cause := context.Cause(ctx); jet.Fenced(cause) {
		err = cause
	}
	cancel(nil)
	<-kept
	if context.Cause(ctx) != ErrCrashed && !jet.Fenced(err) {
		last, stop := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer stop()
		_ = kv.Delete(last, le.key, jetstream.LastRevision(le.rev)) // where that fails, it runs out
	}
	return err
}

// take waits until the key is free, or runs out.
func (le *lease) take(ctx context.Context) error {
	for ctx.Err() == nil {
		c, cancel := context.WithTimeout(ctx, jet.CallTimeout)
		rev, err := le.kv.Create(c, le.key, []byte(le.id))
		cancel()
		switch {
		case err == nil:
			le.rev, le.renewed = rev, time.Now()
			return nil
		case !errors.Is(err, jetstream.ErrKeyExists) && !jet.Unknown(err):
			return err
		}
		jet.Rest(ctx, calm/2)
	}
	return ctx.Err()
}

// keep renews the key until the context ends, or until it is another's.
func (le *lease) keep(ctx context.Context) error {
	beat := time.NewTicker(renewEvery)
	defer beat.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-beat.C:
		}
		c, cancel := context.WithTimeout(ctx, life)
		rev, err := le.kv.Update(c, le.key, []byte(le.id), le.rev)
		if err != nil && jet.WrongSequence(err) {
			rev, err = le.look(c)
		}
		cancel()
		switch {
		case ctx.Err() != nil:
			return nil
		case err == nil:
			le.rev, le.renewed = rev, time.Now()
		case jet.Fenced(err):
			return err
		case time.Since(le.renewed) >= life:
			return fmt.Errorf("not renewed in time: %w", jet.ErrFenced)
		}
	}
}

// look finds out whether a renewal took effect that was not answered.
func (le *lease) look(ctx context.Context) (uint64, error) {
	e, err := le.kv.Get(ctx, le.key)
	switch {
	case errors.Is(err, jetstream.ErrKeyNotFound), err == nil && string(e.Value()) != le.id:
		return 0, jet.ErrFenced
	case err != nil:
		return 0, err
	}
	return e.Revision(), nil
}
