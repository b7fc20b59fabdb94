package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"golang.org/x/time/rate"
)

// serverLog passes on what the server complains about; its notices are of no use
// to an operator of Telltale. What clients may not do goes to whoever asked to hear of it.
type serverLog struct {
	*listener
	log   *slog.Logger
	fatal chan error
	once  sync.Once
	// broken takes the first complaint that the store cannot be written. The server
	// tells it nowhere else.
	broken chan error
	// handshakes lets through one a minute: a gateway that does not trust the certificate is
	// worth a line, and a stranger can make as many as they like.
	handshakes rate.Sometimes
}

func (l *serverLog) Noticef(string, ...any) {}
func (l *serverLog) Debugf(string, ...any)  {}
func (l *serverLog) Tracef(string, ...any)  {}
func (l *serverLog) Warnf(format string, v ...any) {
	l.log.Warn("NATS server: " + fmt.Sprintf(format, v...))
}
func (l *serverLog) Errorf(format string, v ...any) {
	text := fmt.Sprintf(format, v...)
	if l.take(text) {
		return
	}
	if strings.Contains(text, "TLS handshake error") {
		l.handshakes.Do(func() { l.log.Warn("NATS server: " + text) })
		return
	}
	l.log.Error("NATS server: " + text)
	if strings.Contains(text, "write error") || strings.Contains(text, "no space left on device") {
		select {
		case l.broken <- fmt.Errorf("the store cannot be written (is the disk full?): %s", text):
		default: // said already
		}
	}
}

// Fatalf is where the server would end the process.
func (l *serverLog) Fatalf(format string, v ...any) {
	err := fmt.Errorf(format, v...)
	l.once.Do(func() { l.fatal <- err })
	l.log.Debug("NATS server fatal error: " + err.Error())
}

// ready waits until the server takes connections or says why it does not.
func (l *serverLog) ready(ctx context.Context, ns *natsserver.Server) error {
	up := make(chan bool, 1)
	go func() { up <- ns.ReadyForConnections(10 * time.Second) }()
	select {
	case err := <-l.fatal:
		return err
	case ok := <-up:
		if !ok {
			return errors.New("not ready after 10 s")
		}
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func logAsync(log *slog.Logger) nats.ErrHandler {
	return func(_ *nats.Conn, sub *nats.Subscription, err error) {
		subject := ""
		if sub != nil {
			subject = sub.Subject
		}
		log.Warn("NATS connection error", "error", err, "subject", subject)
	}
}
