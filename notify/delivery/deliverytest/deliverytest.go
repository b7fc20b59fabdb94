// Package deliverytest makes the writes of a store fail in tests.
package deliverytest

import (
	"context"
	"errors"
)

// Faults are those of a store's writes. An error that Fail gives is returned. With
// After the write is done all the same, as when only the answer is lost.
type Faults struct {
	Fail  func(op string) error
	After bool
}

// Write does one write of a store, or fails it.
func (f *Faults) Write(ctx context.Context, op string, do func() error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	err := f.Fail(op)
	if err != nil && !f.After {
		return err
	}
	return errors.Join(err, do())
}

// Create does a write that also tells whether it made something new.
func (f *Faults) Create(ctx context.Context, do func() (bool, error)) (created bool, err error) {
	err = f.Write(ctx, "create", func() (err error) { created, err = do(); return err })
	return created && err == nil, err
}
