// Package server is the NATS server under the streams: one inside the process
// ([Embed]) or one that runs elsewhere ([Join]).
//
// The embedded one writes to the disk before it acknowledges, holds its folder
// against other processes, and lets nobody but the service itself write anything but
// events and questions. Who may send which of them, package accounts says.
package server

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"telltale/engine/stream/server/accounts"
)

// Config says how the embedded server runs.
type Config struct {
	// Dir is the service's folder. The store goes to Dir/nats, the address for
	// clients to Dir/nats.url while the server runs.
	Dir string
	// Listen is host:port; 127.0.0.1:4222 where empty, port -1 for any free one.
	Listen string
	// Log hears what the server complains about; the default logger where nil.
	Log *slog.Logger
	// TLS is how clients are met; nil for without encryption. The service's own connection
	// is inside the process and has none.
	TLS *tls.Config
	// Closed lets nobody in without a key; else whoever comes without one may publish events,
	// ask and read.
	Closed bool
	// Programs are those that may sign in by a key from the start.
	Programs []accounts.Program
	// Refused hears, one after the other, of what clients tried and may not; nil for nobody.
	Refused func(Refusal)
}

// Server is a NATS server with JetStream in this process. It writes to the disk
// before it acknowledges.
type Server struct {
	ns   *natsserver.Server
	nc   *nats.Conn
	lock *os.File
	url  string // the file with the address

	config Config
	users  accounts.Users
	anyone string // the key for those who come without one
	rights sync.Mutex
	text   string // of the accounts in force; guarded by rights
	heard  *serverLog

	// broken hears once that the store cannot be written.
	broken <-chan error
}

// Name is the name of embedded servers, by which a client tells them from
// those that are joined.
const Name = "telltale"

// Embed takes the folder and starts a server there. It fails if another process
// holds the folder, if the folder cannot be written, or if the port is taken.
func Embed(ctx context.Context, c Config) (*Server, error) {
	c.Log = cmp.Or(c.Log, slog.Default())
	if err := os.MkdirAll(c.Dir, 0o755); err != nil {
		return nil, fmt.Errorf("making folder %q: %w", c.Dir, err)
	}
	lock, err := lockDir(c.Dir)
	if err != nil {
		return nil, err
	}
	s := &Server{lock: lock, url: filepath.Join(c.Dir, "nats.url"), config: c}
	if err := s.start(ctx); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func (s *Server) start(ctx context.Context) error {
	if err := adoptStore(s.config.Dir); err != nil {
		return err
	}
	key, err := s.makeUsers()
	if err != nil {
		return err
	}
	opts, err := s.options(s.accountsText(s.config.Programs, s.config.Closed))
	if err != nil {
		return err
	}
	if s.ns, err = natsserver.NewServer(opts); err != nil {
		return fmt.Errorf("starting the NATS server: %w", err)
	}
	s.heard = listen(s.config.Log, s.anyone, s.config.Refused)
	s.broken = s.heard.broken
	s.ns.SetLogger(s.heard, false, false)
	go s.ns.Start()
	if err := s.heard.ready(ctx, s.ns); err != nil {
		return fmt.Errorf("starting the NATS server on %s: %w", net.JoinHostPort(opts.Host, strconv.Itoa(opts.Port)), err)
	}
	s.nc, err = nats.Connect("", nats.InProcessServer(s.ns), nats.Nkey(s.users.Service, key.Sign), nats.Name("telltale service"),
		nats.CustomInboxPrefix(accounts.Inbox),
		nats.ErrorHandler(logAsync(s.config.Log)))
	if err != nil {
		return fmt.Errorf("connecting to the embedded server: %w", err)
	}
	if err := os.WriteFile(s.url, []byte(s.URL()+"\n"), 0o644); err != nil {
		return fmt.Errorf("writing the server's address: %w", err)
	}
	return nil
}

// options are those of the server with such accounts, the text of which goes into the
// folder for whoever wants to know who may do what.
func (s *Server) options(text string) (*natsserver.Options, error) {
	host, port, err := hostPort(cmp.Or(s.config.Listen, "127.0.0.1:4222"))
	if err != nil {
		return nil, err
	}
	store := filepath.Join(s.config.Dir, "nats")
	path := filepath.Join(store, "accounts.conf")
	if err := writeOwn(path, text); err != nil {
		return nil, fmt.Errorf("writing who may do what on the NATS server: %w", err)
	}
	o, err := natsserver.ProcessConfigFile(path)
	if err != nil {
		return nil, fmt.Errorf("reading who may do what on the NATS server: %w", err)
	}
	o.ServerName, o.Host, o.Port, o.NoSigs = Name, host, port, true
	o.JetStream, o.StoreDir, o.SyncAlways = true, store, true
	if s.config.TLS != nil {
		o.TLSConfig, o.TLS, o.TLSTimeout = s.config.TLS, true, 5
	}
	return o, nil
}

func hostPort(listen string) (host string, n int, err error) {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return "", 0, fmt.Errorf("listening on %q: wanted host:port: %w", listen, err)
	}
	n, err = strconv.Atoi(port)
	if err != nil || n < -1 || n > 65535 {
		return "", 0, fmt.Errorf("listening on %q: wanted a port from 1 to 65535, or -1 for any", listen)
	}
	if n == 0 {
		n = natsserver.RANDOM_PORT // 0 would mean the default port
	}
	return host, n, nil
}

// Conn is the service's own connection, inside the process and with all rights.
func (s *Server) Conn() *nats.Conn { return s.nc }

// URL is the address for clients.
func (s *Server) URL() string { return s.ns.ClientURL() }

// Broken hears why the store cannot be written any more, if that happens: the
// server goes on without the stream until it is started again, and whoever waits
// for events would wait for ever.
func (s *Server) Broken() <-chan error { return s.broken }

// Close ends the server and gives the folder free. It waits at most 5 s.
func (s *Server) Close() error {
	var err error
	if s.nc != nil {
		s.nc.Close()
	}
	if s.ns != nil {
		os.Remove(s.url)
		s.ns.Shutdown()
		done := make(chan struct{})
		go func() { s.ns.WaitForShutdown(); close(done) }()
		select {
		case <-done:
		case <-time.After(5 * time.Second):
			err = errors.New("stopping the NATS server: not done after 5 s")
		}
	}
	if s.heard != nil {
		s.heard.close()
	}
	return errors.Join(err, s.lock.Close())
}
