package service

import (
	"bytes"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/server"
)

// heard is a log that may be read while it is written.
type heard struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write takes in a line.
func (h *heard) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.b.Write(p)
}

func (h *heard) has(s string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return strings.Contains(h.b.String(), s)
}

// TestPermissionTakenAway has the server forbid the service to say anything for a
// while. It says so, and once it may again, nothing is lost or said twice.
func TestPermissionTakenAway(t *testing.T) {
	t.Parallel()
	want := unbroken(t, 14)
	options := func(denied ...string) *natsserver.Options {
		u := &natsserver.User{Username: "telltale", Password: "larkfell", Permissions: &natsserver.Permissions{Publish: &natsserver.SubjectPermission{Deny: denied}}}
		return &natsserver.Options{Host: "127.0.0.1", Port: natsserver.RANDOM_PORT, JetStream: true, NoSigs: true, NoLog: true,
			Users: []*natsserver.User{{Username: "gateway", Password: "larkfell"}, u}}
	}
	o := options()
	o.StoreDir = t.TempDir()
	ns, err := natsserver.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	go ns.Start()
	t.Cleanup(func() { ns.Shutdown(); ns.WaitForShutdown() })
	if !ns.ReadyForConnections(10 * time.Second) {
		t.Fatal("the NATS server does not come up")
	}
	may := func(denied ...string) {
		t.Helper()
		c := o.Clone()
		c.Users = options(denied...).Users
		if err := ns.ReloadOptions(c); err != nil {
			t.Fatal(err)
		}
	}
	said := &heard{}
	join := func(user string, log *slog.Logger) *stream.Log {
		t.Helper()
		nc, err := server.Join(t.Context(), strings.Replace(ns.ClientURL(), "//", "//"+user+":larkfell@", 1), log)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(nc.Close)
		l, err := stream.Open(t.Context(), nc, stream.LogConfig{Patience: time.Second, Log: log})
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	gateway := join("gateway", quietLog)
	cfg := quiet
	cfg.Share = true
	s := run(t, join("telltale", slog.New(slog.NewTextHandler(said, nil))), cfg)
	begin(t, gateway)
	days(t, gateway, 1, 3)
	caughtUp(t, s)
	may("telltale.alarm.>")
	days(t, gateway, 3, 11)
	for end := time.Now().Add(time.Minute); !said.has("seat failed; retrying") || !said.has("ermissions Violation"); {
		if time.Now().After(end) {
			t.Fatalf("it does not say that it may not:\n%s", said.b.String())
		}
		jet.Rest(t.Context(), 10*time.Millisecond)
	}
	may()
	days(t, gateway, 11, 14)
	caughtUp(t, s)
	same(t, "said", saidLines(t, gateway), want)
}
