package frame

import (
	"context"

	"telltale/engine"
	"telltale/engine/stream/service"
)

// Called is the vehicle that people call so, by its name, plate or an earlier key, however
// it is written; "" where there is none that whoever looks may see. Where several may be
// meant, it says so.
func (f *Frame) Called(ctx context.Context, r *Request, name string) (key string, several bool, err error) {
	q := r.Question()
	q.Name = name
	list, err := service.Called.Of(ctx, f.Service, q)
	if err != nil {
		return "", false, err
	}
	key, unclear := engine.Meant(name, list)
	return key, unclear != nil, nil
}
