package frame

import (
	"sync"

	"telltale/engine/stream/refusals"
	"telltale/notify/delivery"
)

// kept is what pages keep of the log between requests, made when a page first asks.
type kept struct {
	sync.Once
	refused    *refusals.Kept
	deliveries *delivery.Index
}

func (f *Frame) keep() *kept {
	f.kept.Do(func() {
		f.kept.refused, f.kept.deliveries = refusals.Keep(f.Log), delivery.NewIndex(f.Log.Deliveries())
	})
	return &f.kept
}

// Refused are the latest events that could not be used.
func (f *Frame) Refused() *refusals.Kept { return f.keep().refused }

// Deliveries are the messages to people and programs, sent or not.
func (f *Frame) Deliveries() *delivery.Index { return f.keep().deliveries }
