package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/nats-io/nats.go"

	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/wire"
)

// telltale runs the program, which must succeed, and returns its standard output.
func telltale(t *testing.T, args ...string) string {
	t.Helper()
	var stdout, stderr bytes.Buffer
	if code := run(t.Context(), args, strings.NewReader(""), &stdout, &stderr); code != 0 {
		t.Fatalf("telltale %s: exit code %d\n%s", strings.Join(args, " "), code, &stderr)
	}
	return stdout.String()
}

// running is `telltale serve` on a folder, in this process.
type running struct {
	dir    string
	stderr safeBuffer
	stop   context.CancelFunc
	ended  chan struct{}
	code   int // its exit code; to be read after ended
}

// serving starts the service and waits until it answers; the test's end stops it.
func serving(t *testing.T, dir string) *running {
	t.Helper()
	return servingAt(t, dir, "127.0.0.1:-1")
}

// servingAt is serving with NATS at an address.
func servingAt(t *testing.T, dir, listen string) *running {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	s := &running{dir: dir, stop: stop, ended: make(chan struct{})}
	go func() {
		defer close(s.ended)
		s.code = run(ctx, []string{"serve", "--dir", dir, "--listen", listen}, strings.NewReader(""), &safeBuffer{}, &s.stderr)
	}()
	t.Cleanup(func() { stop(); <-s.ended })
	if !poll(patience, func() bool { return strings.Contains(s.stderr.String(), "serving "+dir+" at ") || s.gone() }) || s.gone() {
		t.Fatalf("the service does not come up:\n%s", s.stderr.String())
	}
	return s
}

func (s *running) gone() bool {
	select {
	case <-s.ended:
		return true
	default:
		return false
	}
}

// end interrupts the service, which is no failure.
func (s *running) end(t *testing.T) {
	t.Helper()
	s.stop()
	if <-s.ended; s.code != 0 {
		t.Fatalf("the service ended with exit code %d:\n%s", s.code, s.stderr.String())
	}
}

// connect is a connection of whoever may read the folder.
func (s *running) connect(t *testing.T) *nats.Conn {
	t.Helper()
	url, err := os.ReadFile(filepath.Join(s.dir, "nats.url"))
	if err != nil {
		t.Fatal(err)
	}
	key, err := server.SignIn(server.OperatorKey(s.dir))
	if err != nil {
		t.Fatal(err)
	}
	// They may not take their readers off the server; that they go later is no news.
	nc, err := nats.Connect(strings.TrimSpace(string(url)), key, nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	return nc
}

// said is every message of the log of what the service said.
func said(t *testing.T, nc *nats.Conn) []wire.Message {
	t.Helper()
	l, err := stream.Open(t.Context(), nc, stream.LogConfig{})
	if err != nil {
		t.Fatal(err)
	}
	last, err := l.LastOutput(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, enough := context.WithCancel(t.Context())
	defer enough()
	var all []wire.Message
	err = l.Outputs(ctx, 1, func(m wire.Message) error {
		all = append(all, m)
		if m.Seq >= last {
			enough()
		}
		return nil
	})
	if ctx.Err() == nil {
		t.Fatal(err)
	}
	return all
}

// folder writes files, by name, into a folder of the test's own.
func folder(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// safeBuffer is a buffer that may be read while it is written.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *safeBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *safeBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}
