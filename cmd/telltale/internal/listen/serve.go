package listen

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"time"

	"golang.org/x/time/rate"

	"telltale/cmd/telltale/internal/certificate"
	"telltale/notify/board/frame"
)

// Open reads the certificate for the first time; nil where there is none. nats is as in
// [Settings.Check].
func (set *Settings) Open(nats string, log *slog.Logger) (*certificate.Keeper, error) {
	if set.Pair == (certificate.Files{}) {
		return nil, nil
	}
	return certificate.Open(set.Pair, set.Hosts(nats), log)
}

// Reached is how people reach the board, which listens on l.
func (set *Settings) Reached(l net.Listener) string {
	at := l.Addr().String()
	if host := certificate.Host(set.Board.Listen); beyond(set.Board.Listen) && host != "" { // by the name as it is written
		_, port, _ := net.SplitHostPort(at) // a listener's address has both
		at = net.JoinHostPort(host, port)
	}
	if !beyond(set.Board.Listen) {
		return "http://" + at
	}
	return cmp.Or(set.Board.URL, set.Address(at))
}

// hsts has browsers come by TLS alone for a year, where TLS is the service's own; a proxy
// sends its own header (RFC 6797; ASVS 5.0.0, 3.4.1, which at level 2 includes the names
// below).
const hsts = "max-age=31536000; includeSubDomains"

// Serve serves pages on a listener until the server is closed; at is the address as the
// settings have it. Its connections are bounded, slow senders are cut off, and what is not
// served with the pair is beyond the loopback served to proxies alone.
func (set *Settings) Serve(l net.Listener, at, what string, pages http.Handler, pair *certificate.Keeper, log *slog.Logger) *http.Server {
	s := frame.Server(pages)
	s.ErrorLog = slog.NewLogLogger(&quiet{Handler: log.Handler(), handshakes: rate.Sometimes{Interval: time.Minute}}, slog.LevelWarn)
	l = set.Proxies.Guard(l, beyond(at) && !set.TLS(at))
	serve := s.Serve
	if set.TLS(at) {
		s.TLSConfig = pair.TLS()
		s.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Strict-Transport-Security", hsts)
			pages.ServeHTTP(w, r)
		})
		serve = func(l net.Listener) error { return s.ServeTLS(l, "", "") }
	}
	go func() {
		if err := serve(l); !errors.Is(err, http.ErrServerClosed) {
			log.Error("serving "+what, "error", err)
		}
	}()
	return s
}

// quiet passes on what a server complains about; of handshakes that failed, of which anyone
// can make as many as they like, one a minute.
type quiet struct {
	slog.Handler
	handshakes rate.Sometimes
}

// Handle implements slog.Handler.
func (q *quiet) Handle(ctx context.Context, r slog.Record) (err error) {
	if !strings.HasPrefix(r.Message, "http: TLS handshake error") {
		return q.Handler.Handle(ctx, r)
	}
	q.handshakes.Do(func() { err = q.Handler.Handle(ctx, r) })
	return err
}
