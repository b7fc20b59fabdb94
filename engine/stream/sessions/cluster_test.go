package sessions

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	natsd "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
)

// cluster runs three servers that keep everything three times, and gives the address of
// each.
func cluster(t *testing.T) (urls []string) {
	t.Helper()
	const nodes = 3
	var routes []*url.URL
	for range nodes {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		routes = append(routes, &url.URL{Scheme: "nats-route", Host: l.Addr().String()})
		l.Close() // for the server; nobody else takes it so soon
	}
	var all []*natsd.Server
	for i, own := range routes {
		o := &natsd.Options{ServerName: fmt.Sprint("node-", i), Host: "127.0.0.1", Port: -1, JetStream: true, StoreDir: t.TempDir(), NoLog: true, NoSigs: true, Routes: routes}
		var port int
		if _, err := fmt.Sscanf(own.Port(), "%d", &port); err != nil {
			t.Fatal(err)
		}
		o.Cluster = natsd.ClusterOpts{Name: "three", Host: "127.0.0.1", Port: port}
		s, err := natsd.NewServer(o)
		if err != nil {
			t.Fatal(err)
		}
		go s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		all = append(all, s)
	}
	for _, s := range all {
		if !s.ReadyForConnections(time.Minute) {
			t.Fatal("a server does not start")
		}
		urls = append(urls, s.ClientURL())
	}
	return urls
}

// joined is the log as a replica of the service sees it that is at one of the servers.
func joined(t *testing.T, addr string) *stream.Log {
	t.Helper()
	nc, err := nats.Connect(addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	return &stream.Log{Conn: nc, JS: js, Logger: slog.New(slog.DiscardHandler), Replicas: 3}
}

// TestReplicated has replicas of the service at three servers that keep everything three
// times: each finds at once what another began, one alone takes what works once, and a
// count counts all.
func TestReplicated(t *testing.T) {
	var all []*Sessions
	for _, addr := range cluster(t) {
		all = append(all, New(joined(t, addr)))
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	var token string
	for {
		var err error
		if token, err = all[0].Begin(ctx, Session{Who: "/people/ines"}, start); err == nil {
			break
		}
		if ctx.Err() != nil {
			t.Fatal(err) // the servers have elected nobody
		}
	}
	for i := range 20 {
		token, err := all[i%3].Begin(ctx, Session{Who: fmt.Sprint("/people/p", i)}, start)
		if err == nil {
			_, err = all[(i+1)%3].Find(ctx, token, start)
		}
		if err != nil {
			t.Fatalf("session %d: %v", i, err)
		}
	}
	if got, err := all[2].Find(ctx, token, start.Add(time.Hour)); err != nil || !got.Seen.Equal(start.Add(time.Hour)) {
		t.Errorf("%+v (%v)", got, err)
	}
	if err := all[0].Create(ctx, "link.a", 0, start, start.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if err := all[1].Create(ctx, "link.a", 0, start, start.Add(time.Minute)); !errors.Is(err, ErrChanged) {
		t.Errorf("made twice: %v", err)
	}
	var wg sync.WaitGroup
	var taken atomic.Int32
	for i := range 12 {
		wg.Go(func() {
			ss := all[i%3]
			var n int
			for {
				m, err := ss.Get(ctx, "link.a", start, &n)
				if err == nil && n < 5 {
					_, err = ss.Update(ctx, m, n+1, start)
				} else if err == nil {
					err = ss.Take(ctx, m)
					if err == nil {
						taken.Add(1)
					}
				}
				switch {
				case errors.Is(err, ErrNone):
					return
				case err != nil && !errors.Is(err, ErrChanged):
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	if taken.Load() != 1 {
		t.Errorf("taken %d times", taken.Load())
	}
}
