package service

import (
	"context"

	"github.com/nats-io/nats.go"
)

// At is where a question goes.
type At struct {
	Conn *nats.Conn // what is sent goes over it in either case
	// Service answers in this process; nil where one is asked over the connection.
	Service *Service
}

// From asks for the list where at says.
func (in *Inquiry[T]) From(ctx context.Context, at At, q Question) ([]T, error) {
	if at.Service != nil {
		return in.Of(ctx, at.Service, q)
	}
	return in.Ask(ctx, at.Conn, q)
}

// Health asks how the service stands.
func (at At) Health(ctx context.Context) (Health, error) {
	if at.Service != nil {
		return at.Service.HealthOfAll(ctx), nil
	}
	return QueryHealth(ctx, at.Conn)
}
