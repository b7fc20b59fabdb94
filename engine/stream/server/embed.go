// Package server is the NATS server under the streams: one inside the process
// ([Embed]) or one that runs elsewhere ([Join]).
//
// The embedded one writes to the disk before it acknowledges, holds its folder
// against other processes, and lets everyone but the service itself publish events
// and questions alone.
package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
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
}

// Server is a NATS server with JetStream in this process. It writes to the disk
// before it acknowledges.
type Server struct {
	ns   *natsserver.Server
	nc   *nats.Conn
	lock *os.File
	url  string // the file with the address
	// broken hears once that the store cannot be written.
	broken <-chan error
}

// Name is the name of embedded servers, by which a client tells them from
// those that are joined.
const Name = "telltale"

// gatewayDenied is what a client may not publish: all that the service alone
// writes. Events in, questions and reading are left.
var gatewayDenied = []string{
	"telltale.all.>", "telltale.event.>", "telltale.alarm.>", "telltale.state.>", "telltale.book.>",
	"telltale.said.>", "telltale.delivery.>", "telltale.notify",
	"$JS.API.STREAM.CREATE.>", "$JS.API.STREAM.UPDATE.>", "$JS.API.STREAM.DELETE.>", "$JS.API.STREAM.PURGE.>",
	"$JS.API.STREAM.MSG.DELETE.>", "$JS.API.CONSUMER.PAUSE.>", "$JS.API.CONSUMER.UNPIN.>",
	"$JS.API.CONSUMER.LEADER.>", "$JS.API.STREAM.LEADER.>", "$JS.API.STREAM.PEER.>", "$JS.API.META.>", "$JS.API.SERVER.>", "$JS.API.ACCOUNT.PURGE.>", "$JS.API.STREAM.RESTORE.>", "$JS.API.STREAM.SNAPSHOT.>",
}

// private are the streams that the service alone reads as well: who did what, and who is
// signed in.
var private = []string{"AUDIT", "KV_SESSIONS", "KV_PASSKEYS"}

// inbox is where answers to the service go: whoever could listen there would read what it
// reads, and whoever could write there would answer in the server's place.
const inbox = "_INBOX_SERVICE"

// gatewayRights keep a client from what the service alone writes and, of private streams,
// from all ways to read: their messages, their subjects (which say who and which vehicle),
// and listening to what is stored.
func gatewayRights() *natsserver.Permissions {
	publish := append(slices.Clone(gatewayDenied), "telltale.audit.>", "$KV.>", inbox+".>")
	for _, s := range private {
		publish = append(publish, "$JS.API.STREAM.INFO."+s, "$JS.API.STREAM.MSG.GET."+s, "$JS.API.DIRECT.GET."+s, "$JS.API.DIRECT.GET."+s+".>",
			"$JS.API.CONSUMER.*."+s, "$JS.API.CONSUMER.*."+s+".>", "$JS.API.CONSUMER.*.*."+s+".>")
	}
	listen := []string{"telltale.audit.>", "$KV.>", "$JS.API.>", "$JS.EVENT.>", inbox + ".>"} // what the service asks the server names a session
	return &natsserver.Permissions{Publish: &natsserver.SubjectPermission{Deny: publish}, Subscribe: &natsserver.SubjectPermission{Deny: listen}}
}

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
	s := &Server{lock: lock, url: filepath.Join(c.Dir, "nats.url")}
	if err := s.start(ctx, c); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func (s *Server) start(ctx context.Context, c Config) error {
	key, user, err := newUser()
	if err != nil {
		return err
	}
	opts, err := serverOptions(c, user)
	if err != nil {
		return err
	}
	if s.ns, err = natsserver.NewServer(opts); err != nil {
		return fmt.Errorf("starting the NATS server: %w", err)
	}
	heard := &serverLog{log: c.Log, fatal: make(chan error, 1), broken: make(chan error, 1)}
	s.broken = heard.broken
	s.ns.SetLogger(heard, false, false)
	go s.ns.Start()
	if err := heard.ready(ctx, s.ns); err != nil {
		return fmt.Errorf("starting the NATS server on %s: %w", net.JoinHostPort(opts.Host, strconv.Itoa(opts.Port)), err)
	}
	s.nc, err = nats.Connect("", nats.InProcessServer(s.ns), nats.Nkey(user, key.Sign), nats.Name("telltale service"),
		nats.CustomInboxPrefix(inbox),
		nats.ErrorHandler(logAsync(c.Log)))
	if err != nil {
		return fmt.Errorf("connecting to the embedded server: %w", err)
	}
	if err := os.WriteFile(s.url, []byte(s.URL()+"\n"), 0o644); err != nil {
		return fmt.Errorf("writing the server's address: %w", err)
	}
	return nil
}

// serverOptions lets the service in by its key, which lives as long as the
// process, with all rights, and everyone else without one as a gateway.
func serverOptions(c Config, service string) (*natsserver.Options, error) {
	c.Listen = cmp.Or(c.Listen, "127.0.0.1:4222")
	host, port, err := net.SplitHostPort(c.Listen)
	if err != nil {
		return nil, fmt.Errorf("listening on %q: wanted host:port: %w", c.Listen, err)
	}
	n, err := strconv.Atoi(port)
	if err != nil || n < -1 || n > 65535 {
		return nil, fmt.Errorf("listening on %q: wanted a port from 1 to 65535, or -1 for any", c.Listen)
	}
	if n == 0 {
		n = natsserver.RANDOM_PORT // 0 would mean the default port
	}
	_, gateway, err := newUser()
	if err != nil {
		return nil, err
	}
	return &natsserver.Options{
		ServerName: Name, Host: host, Port: n, NoSigs: true,
		JetStream: true, StoreDir: filepath.Join(c.Dir, "nats"), SyncAlways: true,
		Nkeys:      []*natsserver.NkeyUser{{Nkey: service}, {Nkey: gateway, Permissions: gatewayRights()}},
		NoAuthUser: gateway,
	}, nil
}

func newUser() (key nkeys.KeyPair, name string, err error) {
	if key, err = nkeys.CreateUser(); err == nil {
		name, err = key.PublicKey()
	}
	if err != nil {
		return nil, "", fmt.Errorf("making a key for the embedded server: %w", err)
	}
	return key, name, nil
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
	return errors.Join(err, s.lock.Close())
}

// serverLog passes on what the server complains about; its notices are of no use
// to an operator of Telltale.
type serverLog struct {
	log   *slog.Logger
	fatal chan error
	once  sync.Once
	// broken takes the first complaint that the store cannot be written. The server
	// tells it nowhere else.
	broken chan error
}

func (l *serverLog) Noticef(string, ...any) {}
func (l *serverLog) Debugf(string, ...any)  {}
func (l *serverLog) Tracef(string, ...any)  {}
func (l *serverLog) Warnf(format string, v ...any) {
	l.log.Warn("NATS server: " + fmt.Sprintf(format, v...))
}
func (l *serverLog) Errorf(format string, v ...any) {
	text := fmt.Sprintf(format, v...)
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

// lockDir takes the folder for this process, because the store of a NATS server
// has no lock of its own. The lock goes with the process, however it ends.
func lockDir(dir string) (*os.File, error) {
	name := filepath.Join(dir, "lock")
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("locking folder %q: %w", dir, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		holder, _ := os.ReadFile(name)
		return nil, fmt.Errorf("locking folder %q: process %s holds it: %w", dir, strings.TrimSpace(string(holder)), err)
	}
	if err = f.Truncate(0); err == nil {
		_, err = fmt.Fprintln(f, os.Getpid())
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("locking folder %q: %w", dir, err)
	}
	return f, nil
}
