package frame

import (
	"context"
	"errors"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/service"
)

// askWithin is how long a list of the whole fleet is waited for. Common practice, no source:
// nobody looks at an empty page for longer.
const askWithin = 5 * time.Second

// Ask asks for a list of the whole fleet that is one thing among others on a page. missing
// are the partitions that did not answer; all of them where the list did not come in time.
func Ask[T any](ctx context.Context, f *Frame, in *service.Inquiry[T], q service.Question) (list []T, missing []int, err error) {
	within, cancel := context.WithTimeout(ctx, askWithin)
	defer cancel()
	list, err = in.Of(within, f.Service, q)
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		for p := range stream.Partitions {
			missing = append(missing, p)
		}
		return nil, missing, nil
	}
	missing, err = Missing(err)
	return list, missing, err
}
