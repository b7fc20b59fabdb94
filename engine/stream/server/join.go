package server

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
)

// Join connects to a NATS server or cluster that runs elsewhere. Where none
// answers it says so, tries again with growing pauses and says so again each
// minute, until it succeeds or the context ends. The connection comes back by
// itself after a break.
func Join(ctx context.Context, url string, log *slog.Logger, more ...nats.Option) (*nats.Conn, error) {
	log = cmp.Or(log, slog.Default())
	opts := append([]nats.Option{
		nats.Name("telltale service"), nats.MaxReconnects(-1), nats.ReconnectWait(time.Second),
		nats.ReconnectJitter(500*time.Millisecond, time.Second), nats.ErrorHandler(logAsync(log)),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				log.Warn("NATS connection lost; reconnecting", "url", url, "error", err)
			}
		}),
		nats.ReconnectHandler(func(nc *nats.Conn) { log.Info("NATS connection restored", "url", nc.ConnectedUrlRedacted()) }),
	}, more...)
	var said time.Time
	wait := 250 * time.Millisecond
	for {
		nc, err := nats.Connect(url, opts...)
		if err == nil {
			return nc, nil
		}
		if time.Since(said) >= time.Minute {
			log.Warn("NATS server does not answer; retrying", "url", url, "error", err)
			said = time.Now()
		}
		select {
		case <-time.After(wait):
			wait = min(2*wait, 10*time.Second)
		case <-ctx.Done():
			return nil, fmt.Errorf("connecting to NATS at %q: %w", url, err)
		}
	}
}
