package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/testdata/quick"
)

// TestEmbedTellsItsAddress finds the server on loopback, with all that it stores in the
// folder and written to the disk before it is acknowledged.
func TestEmbedTellsItsAddress(t *testing.T) {
	dir := t.TempDir()
	srv := embed(t, dir)
	b, err := os.ReadFile(filepath.Join(dir, "nats.url"))
	if err != nil {
		t.Fatal(err)
	}
	nc, err := nats.Connect(strings.TrimSpace(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	nc.Close()
	if !strings.HasPrefix(srv.URL(), "nats://127.0.0.1:") {
		t.Errorf("listens on %s, want loopback", srv.URL())
	}
	if c := srv.ns.JetStreamConfig(); !c.SyncAlways || !strings.HasPrefix(c.StoreDir, dir) {
		t.Errorf("the store is in %s and synced at every write: %t", c.StoreDir, c.SyncAlways)
	}
	if err := srv.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, "nats.url")); !os.IsNotExist(err) {
		t.Errorf("the address is still there: %v", err)
	}
}

func TestEmbedRefuses(t *testing.T) {
	held := t.TempDir()
	embed(t, held)
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for _, tt := range []struct{ name, dir, listen, want string }{
		{"a folder that is held", held, "127.0.0.1:-1", fmt.Sprintf("locking folder %q: process %d holds it", held, os.Getpid())},
		{"a file", file, "127.0.0.1:-1", fmt.Sprintf("making folder %q: ", file)},
		{"a folder in a file", file + "/x", "127.0.0.1:-1", fmt.Sprintf("making folder %q: ", file+"/x")},
		{"a port in use", t.TempDir(), taken.Addr().String(), "starting the NATS server on " + taken.Addr().String() + ": "},
		{"no port", t.TempDir(), "127.0.0.1", `listening on "127.0.0.1": wanted host:port`},
		{"a port in words", t.TempDir(), "127.0.0.1:nats", `listening on "127.0.0.1:nats": wanted a port from 1 to 65535, or -1 for any`},
	} {
		srv, err := Embed(t.Context(), Config{Dir: tt.dir, Listen: tt.listen, Log: slog.New(slog.DiscardHandler)})
		if err == nil {
			srv.Close()
		}
		if err == nil || !strings.HasPrefix(err.Error(), tt.want) {
			t.Errorf("%s: got %v, want %s", tt.name, err, tt.want)
		}
	}
}

func TestJoin(t *testing.T) {
	quick.Beside(t)
	srv := embed(t, t.TempDir())
	nc, err := Join(t.Context(), srv.URL(), nil)
	if err != nil {
		t.Fatal(err)
	}
	nc.Close()

	var said bytes.Buffer
	nowhere, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nowhere.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Second)
	defer cancel()
	url := "nats://" + nowhere.Addr().String()
	_, err = Join(ctx, url, slog.New(slog.NewTextHandler(&said, nil)))
	if err == nil || !strings.HasPrefix(err.Error(), fmt.Sprintf("connecting to NATS at %q: ", url)) {
		t.Errorf("got %v", err)
	}
	if lines := strings.Count(said.String(), "NATS server does not answer; retrying"); lines != 1 {
		t.Errorf("said so %d times, want once:\n%s", lines, said.String())
	}
}

// unrouted is a network on which nobody is reached.
type unrouted struct{ tries int }

// Dial fails.
func (u *unrouted) Dial(string, string) (net.Conn, error) {
	u.tries++
	return nil, errors.New("no route")
}

// TestJoinSaysSoOnceAMinute has no server for ten minutes: it is tried with growing
// pauses, and said so once a minute.
func TestJoinSaysSoOnceAMinute(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var said bytes.Buffer
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
		defer cancel()
		network := &unrouted{}
		if _, err := Join(ctx, "nats://192.0.2.7:4222", slog.New(slog.NewTextHandler(&said, nil)), nats.SetCustomDialer(network)); err == nil {
			t.Error("joined a server that is not there")
		}
		lines := strings.Count(said.String(), "NATS server does not answer; retrying")
		if lines < 9 || lines > 10 || network.tries < 60 || network.tries > 70 {
			t.Errorf("tried %d times and said so %d times, want some 65 and 10:\n%s", network.tries, lines, said.String())
		}
	})
}

func embed(t *testing.T, dir string) *Server {
	t.Helper()
	srv, err := Embed(t.Context(), Config{Dir: dir, Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { srv.Close() })
	return srv
}
