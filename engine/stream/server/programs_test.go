package server

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"

	"telltale/engine/stream/server/accounts"
	"telltale/testdata/quick"
)

// gateway is a program with its key, and what it hears of what it may not do.
type gateway struct {
	t    *testing.T
	name string
	key  nkeys.KeyPair

	mu     sync.Mutex
	errors []error
	closed chan struct{}
}

func newGateway(t *testing.T, name string) *gateway {
	t.Helper()
	key, _, err := newUser()
	if err != nil {
		t.Fatal(err)
	}
	return &gateway{t: t, name: name, key: key, closed: make(chan struct{})}
}

func (g *gateway) public() string {
	p, err := g.key.PublicKey()
	if err != nil {
		g.t.Fatal(err)
	}
	return p
}

func (g *gateway) may(subjects ...string) accounts.Program {
	return accounts.Program{Name: g.name, Key: g.public(), Publishes: subjects}
}

func (g *gateway) connect(srv *Server) *nats.Conn {
	g.t.Helper()
	nc, err := nats.Connect(srv.URL(), nats.Nkey(g.public(), g.key.Sign), nats.Name(g.name), nats.MaxReconnects(0),
		nats.ClosedHandler(func(*nats.Conn) { close(g.closed) }),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			g.mu.Lock()
			defer g.mu.Unlock()
			g.errors = append(g.errors, err)
		}))
	if err != nil {
		g.t.Fatal(err)
	}
	g.t.Cleanup(nc.Close)
	return nc
}

// refused waits until the client has heard that it may not do something with the subject.
func (g *gateway) refused(subject string) {
	g.t.Helper()
	until(g.t, g.name+" hears that "+subject+" is refused", func() bool {
		g.mu.Lock()
		defer g.mu.Unlock()
		return slices.ContainsFunc(g.errors, func(err error) bool {
			return errors.Is(err, nats.ErrPermissionViolation) && strings.Contains(err.Error(), `"`+subject+`"`)
		})
	})
}

// until waits for something that must come.
func until(t *testing.T, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); !done(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it never came that %s", what)
		}
	}
}

// heardOf collects refusals.
type heardOf struct {
	mu   sync.Mutex
	list []Refusal
}

func (h *heardOf) hear(r Refusal) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.list = append(h.list, r)
}

func (h *heardOf) of(key, subject string, hear bool) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.ContainsFunc(h.list, func(r Refusal) bool {
		return r.Key == key && r.Subject == subject && r.Hear == hear && r.From == "127.0.0.1" && !r.At.IsZero()
	})
}

// closedServer lets programs in alone, and has a stream of events as the service makes it.
func closedServer(t *testing.T, dir string, h *heardOf, programs ...accounts.Program) *Server {
	t.Helper()
	srv, err := Embed(t.Context(), Config{Dir: dir, Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler), Closed: true, Programs: programs, Refused: h.hear})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { srv.Close() })
	events(t, srv.Conn())
	return srv
}

func events(t *testing.T, nc *nats.Conn) jetstream.Stream {
	t.Helper()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	s, err := js.CreateOrUpdateStream(t.Context(), jetstream.StreamConfig{Name: "EVENTS", Subjects: []string{"telltale.in.*.*"}, Storage: jetstream.FileStorage,
		SubjectTransform: &jetstream.SubjectTransformConfig{Source: "telltale.in.*.*", Destination: "telltale.event.{{partition(16,1)}}.{{wildcard(1)}}.{{wildcard(2)}}"}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func stored(t *testing.T, srv *Server) uint64 {
	t.Helper()
	info, err := events(t, srv.Conn()).Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return info.State.Msgs
}

// TestProgramsMay has a gateway with a stock client and its usual inbox: what it may is
// acknowledged, and all else is refused, in words for it and for the service.
func TestProgramsMay(t *testing.T) {
	quick.Beside(t)
	h := &heardOf{}
	g := newGateway(t, "gateway-3")
	srv := closedServer(t, t.TempDir(), h, g.may("telltale.in.bus-07.reading"))
	nc := g.connect(srv)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	ack, err := js.Publish(t.Context(), "telltale.in.bus-07.reading", []byte("{}"))
	if err != nil || ack.Stream != "EVENTS" || ack.Sequence != 1 {
		t.Fatalf("what it may is answered with %+v, %v", ack, err)
	}
	for _, subject := range []string{"telltale.in.bus-09.reading", "telltale.in.bus-07.sample", "telltale.in.*.reading", "telltale.in.bus-07.*", "telltale.in.>",
		"telltale.in.bus=2D07.reading", "telltale.in.BUS-07.reading", "telltale.in.bus-07.reading.more", "telltale.event.3.bus-07.reading", "telltale.alarm.3",
		"telltale.all.tick", "telltale.query.due", "$JS.API.STREAM.DELETE.EVENTS", "$JS.API.INFO", "$KV.SESSIONS.a", "$SYS.REQ.SERVER.PING", "telltale.part.3.due"} {
		if err := nc.Publish(subject, []byte("{}")); err != nil {
			t.Fatal(err)
		}
		g.refused(subject)
		until(t, "the service hears of "+subject, func() bool { return h.of(g.public(), subject, false) })
	}
	for _, subject := range []string{">", "telltale.>", "telltale.in.>", "telltale.alarm.3", "$JS.>"} {
		if _, err := nc.SubscribeSync(subject); err != nil {
			t.Fatal(err)
		}
		g.refused(subject)
		until(t, "the service hears of "+subject, func() bool { return h.of(g.public(), subject, true) })
	}
	if n := stored(t, srv); n != 1 {
		t.Errorf("%d events are stored, want the one", n)
	}
}

// TestClosed lets nobody in without a key, nor by one that is not known, and the service
// hears of both. Whoever can read the folder gets in.
func TestClosed(t *testing.T) {
	quick.Beside(t)
	dir, h := t.TempDir(), &heardOf{}
	srv := closedServer(t, dir, h)
	stranger := newGateway(t, "stranger")
	for _, opt := range []nats.Option{nats.Name("nobody"), nats.UserInfo("telltale", "telltale"), nats.Token("secret"), nats.Nkey(stranger.public(), stranger.key.Sign)} {
		if nc, err := nats.Connect(srv.URL(), opt); !errors.Is(err, nats.ErrAuthorization) {
			t.Errorf("let in: %v, %v", nc, err)
		}
	}
	until(t, "the service hears of the key", func() bool { return h.of(stranger.public(), "", false) })
	until(t, "the service hears of nobody's", func() bool { return h.of("", "", false) })
	for _, name := range []string{"operator.nk", "nats/accounts.conf"} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s can be read by others: %v %v", name, info.Mode(), err)
		}
	}
	in, err := SignIn(OperatorKey(dir))
	if err != nil {
		t.Fatal(err)
	}
	nc, err := nats.Connect(srv.URL(), in)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := js.Publish(t.Context(), "telltale.in.bus-07.reading", []byte("{}")); err != nil {
		t.Error(err)
	}
	if _, err := js.Stream(t.Context(), "EVENTS"); err != nil {
		t.Errorf("the operator cannot read: %v", err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	if err := js.DeleteStream(ctx, "EVENTS"); err == nil {
		t.Error("the operator deleted the log")
	}
}

// TestSetPrograms changes who may what while all are connected: who is taken out is cut
// off, a vehicle taken away is refused, a new one is taken, and all others stay, the service
// with its store among them.
func TestSetPrograms(t *testing.T) {
	quick.Beside(t)
	h := &heardOf{}
	gone, less, same := newGateway(t, "gone"), newGateway(t, "less"), newGateway(t, "same")
	srv := closedServer(t, t.TempDir(), h, gone.may("telltale.in.*.reading"), less.may("telltale.in.bus-07.reading", "telltale.in.bus-08.reading"), same.may("telltale.in.*.sample"))
	cGone, cLess, cSame := gone.connect(srv), less.connect(srv), same.connect(srv)
	send := func(nc *nats.Conn, subject string) error {
		js, err := jetstream.New(nc)
		if err != nil {
			t.Fatal(err)
		}
		_, err = js.Publish(t.Context(), subject, []byte("{}"))
		return err
	}
	for _, err := range []error{send(cGone, "telltale.in.a.reading"), send(cLess, "telltale.in.bus-08.reading"), send(cSame, "telltale.in.a.sample")} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if list, err := srv.Connections(); err != nil || len(list) != 3 || list[0].Key != gone.public() || list[0].Name != "gone" || list[0].Sent != 1 || list[0].Since.IsZero() {
		t.Errorf("the connections are %+v, %v", list, err)
	}
	if err := srv.SetPrograms([]accounts.Program{less.may("telltale.in.bus-07.reading", "telltale.in.bus-09.reading"), same.may("telltale.in.*.sample")}, true); err != nil {
		t.Fatal(err)
	}
	select {
	case <-gone.closed:
	case <-time.After(time.Minute):
		t.Fatal("who was taken out is still connected")
	}
	for _, err := range []error{send(cLess, "telltale.in.bus-09.reading"), send(cSame, "telltale.in.b.sample"), send(srv.Conn(), "telltale.in.b.reading")} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := cLess.Publish("telltale.in.bus-08.reading", []byte("{}")); err != nil {
		t.Fatal(err)
	}
	less.refused("telltale.in.bus-08.reading")
	if n := stored(t, srv); n != 6 {
		t.Errorf("%d events are stored, want 6", n)
	}
	list, err := srv.Connections()
	if err != nil || len(list) != 2 {
		t.Fatalf("the connections are %+v, %v", list, err)
	}
	if err := srv.Disconnect(list[0].ID); err != nil {
		t.Fatal(err)
	}
	select {
	case <-less.closed:
	case <-time.After(time.Minute):
		t.Fatal("whose connection was ended is still connected")
	}
}

// TestShut closes a server that was open while it runs: who has no key is cut off and let
// in no more, until it is open again. One that began closed says that it needs a start.
func TestShut(t *testing.T) {
	quick.Beside(t)
	h := &heardOf{}
	srv, err := Embed(t.Context(), Config{Dir: t.TempDir(), Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler), Refused: h.hear})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { srv.Close() })
	cut := make(chan struct{})
	nc, err := nats.Connect(srv.URL(), nats.MaxReconnects(0), nats.ClosedHandler(func(*nats.Conn) { close(cut) }))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	g := newGateway(t, "gateway-3")
	if err := srv.SetPrograms([]accounts.Program{g.may("telltale.in.*.reading")}, true); err != nil {
		t.Fatal(err)
	}
	select {
	case <-cut:
	case <-time.After(time.Minute):
		t.Fatal("who has no key is still connected")
	}
	if nc, err := nats.Connect(srv.URL()); !errors.Is(err, nats.ErrAuthorization) {
		t.Fatalf("let in without a key: %v, %v", nc, err)
	}
	until(t, "the service hears of it", func() bool { return h.of("", "", false) })
	g.connect(srv)
	if err := srv.SetPrograms(nil, false); err != nil {
		t.Fatal(err)
	}
	again, err := nats.Connect(srv.URL())
	if err != nil {
		t.Fatalf("nobody gets in though it is open again: %v", err)
	}
	again.Close()

	closed := closedServer(t, t.TempDir(), &heardOf{})
	if err := closed.SetPrograms(nil, false); !errors.Is(err, ErrNeedsStart) {
		t.Errorf("got %v", err)
	}
}

// TestAskersAlone: an answer in several parts comes to the program that asks, and no gateway
// can read it along.
func TestAskersAlone(t *testing.T) {
	quick.Beside(t)
	asks, spy := newGateway(t, "office"), newGateway(t, "spy")
	srv := closedServer(t, t.TempDir(), &heardOf{}, accounts.Program{Name: "office", Key: asks.public(), Asks: true}, spy.may("telltale.in.*.reading"))
	if _, err := srv.Conn().Subscribe("telltale.query.due", func(m *nats.Msg) {
		for _, part := range []string{"one", "two", "three"} {
			_ = m.Respond([]byte(part))
		}
	}); err != nil {
		t.Fatal(err)
	}
	spying, err := spy.connect(srv).SubscribeSync("_INBOX.>")
	if err != nil {
		t.Fatal(err)
	}
	nc := asks.connect(srv)
	sub, err := nc.SubscribeSync(nc.NewInbox())
	if err != nil {
		t.Fatal(err)
	}
	if err := nc.PublishRequest("telltale.query.due", sub.Subject, nil); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"one", "two", "three"} {
		m, err := sub.NextMsg(time.Minute)
		if err != nil || string(m.Data) != want {
			t.Fatalf("got %v, %v; want %s", m, err, want)
		}
	}
	if m, err := spying.NextMsg(100 * time.Millisecond); err == nil {
		t.Errorf("a gateway read along %q", m.Data)
	}
}

// TestOldStore starts on a folder that was made before there were accounts: every event is
// there, and two stores are refused.
func TestOldStore(t *testing.T) {
	quick.Beside(t)
	dir := t.TempDir()
	before(t, dir, 40)
	srv := embed(t, dir)
	if n := stored(t, srv); n != 40 {
		t.Fatalf("%d events are there, want 40", n)
	}
	js, err := jetstream.New(srv.Conn())
	if err != nil {
		t.Fatal(err)
	}
	if ack, err := js.Publish(t.Context(), "telltale.in.bus-07.reading", []byte("{}")); err != nil || ack.Sequence != 41 {
		t.Fatalf("the next event gets %+v, %v", ack, err)
	}
	if err := srv.Close(); err != nil {
		t.Fatal(err)
	}
	if again := embed(t, dir); stored(t, again) != 41 {
		t.Error("the second start has not what the first had")
	} else if err := again.Close(); err != nil {
		t.Fatal(err)
	}
	before(t, dir, 1) // an older program once more
	_, err = Embed(t.Context(), Config{Dir: dir, Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler)})
	root := filepath.Join(dir, "nats", "jetstream")
	if want := "taking over the store of an older version: there are two, " + filepath.Join(root, "$G") + " and " + filepath.Join(root, "TELLTALE") +
		"; keep the one with the fleet's data and move the other elsewhere"; err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

// before runs a server as it was before there were accounts, and has it store events.
func before(t *testing.T, dir string, n int) {
	t.Helper()
	service, name, err := newUser()
	if err != nil {
		t.Fatal(err)
	}
	_, anyone, err := newUser()
	if err != nil {
		t.Fatal(err)
	}
	ns, err := natsserver.NewServer(&natsserver.Options{ServerName: Name, Host: "127.0.0.1", Port: -1, NoSigs: true, NoLog: true, JetStream: true, StoreDir: filepath.Join(dir, "nats"), SyncAlways: true,
		Nkeys: []*natsserver.NkeyUser{{Nkey: name}, {Nkey: anyone, Permissions: &natsserver.Permissions{Publish: &natsserver.SubjectPermission{Deny: accounts.Denied}}}}, NoAuthUser: anyone})
	if err != nil {
		t.Fatal(err)
	}
	go ns.Start()
	if !ns.ReadyForConnections(time.Minute) {
		t.Fatal("the server does not come up")
	}
	nc, err := nats.Connect("", nats.InProcessServer(ns), nats.Nkey(name, service.Sign))
	if err != nil {
		t.Fatal(err)
	}
	events(t, nc)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	for range n {
		if _, err := js.Publish(t.Context(), "telltale.in.bus-07.reading", []byte("{}")); err != nil {
			t.Fatal(err)
		}
	}
	nc.Close()
	ns.Shutdown()
	ns.WaitForShutdown()
}

// TestReadRefusal: names and subjects are the clients' own, and cannot make it seem another's.
func TestReadRefusal(t *testing.T) {
	const place, key = `127.0.0.1:34768 - cid:9 - `, "UCO32A726GVFOLUDWPRPP6OGZ33HOHNE5FPI77EFJO7EMA2YLAXOGQFN"
	for _, tt := range []struct {
		line string
		want Refusal
		ok   bool
	}{
		{place + `"v1.55.0:go:gw" - "GATEWAYS/nkey:` + key + `" - Publish Violation - Subject "telltale.in.b.reading"`, Refusal{Key: key, Subject: "telltale.in.b.reading", From: "127.0.0.1"}, true},
		{place + `"v1.55.0:go:x\" - \"GATEWAYS/nkey:UA\" - Publish Violation - Subject \"a" - "GATEWAYS/nkey:` + key + `" - Publish Violation - Subject "b\" - c"`, Refusal{Key: key, Subject: `b" - c`, From: "127.0.0.1"}, true},
		{`[::1]:4 - cid:9 - "v1" - "ASKERS/nkey:` + key + `" - Subscription Violation - Subject "telltale.>", SID 1`, Refusal{Key: key, Subject: "telltale.>", Hear: true, From: "::1"}, true},
		{place + `authentication error - Nkey "` + key + `"`, Refusal{Key: key, From: "127.0.0.1"}, true},
		{place + `authentication error`, Refusal{From: "127.0.0.1"}, true},
		{`JetStream resource limits exceeded for server`, Refusal{}, false},
	} {
		if got, ok := readRefusal(tt.line); got != tt.want || ok != tt.ok {
			t.Errorf("%s\ngot  %+v, %t\nwant %+v, %t", tt.line, got, ok, tt.want, tt.ok)
		}
	}
}

// TestReplyElsewhere: the server's acknowledgement goes where the event says. It cannot be
// had written where whoever sends has no right to write.
func TestReplyElsewhere(t *testing.T) {
	quick.Beside(t)
	g := newGateway(t, "gateway-3")
	srv := closedServer(t, t.TempDir(), &heardOf{}, g.may("telltale.in.bus-07.reading"))
	js, err := jetstream.New(srv.Conn())
	if err != nil {
		t.Fatal(err)
	}
	alarms, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: "ALARMS", Subjects: []string{"telltale.alarm.*"}})
	if err != nil {
		t.Fatal(err)
	}
	nc := g.connect(srv)
	for _, reply := range []string{"telltale.alarm.3", "telltale.in.bus-09.reading", "telltale.event.3.bus-09.reading", "$JS.API.STREAM.DELETE.ALARMS"} {
		if err := nc.PublishRequest("telltale.in.bus-07.reading", reply, []byte("{}")); err != nil {
			t.Fatal(err)
		}
	}
	if err := nc.Flush(); err != nil {
		t.Fatal(err)
	}
	ack, err := js.Publish(t.Context(), "telltale.in.bus-07.reading", []byte("{}")) // behind all of them
	if err != nil || ack.Sequence != 5 {
		t.Fatalf("the fifth event gets %+v, %v", ack, err)
	}
	info, err := alarms.Info(t.Context())
	if err != nil || info.State.Msgs != 0 {
		t.Errorf("%d acknowledgements lie in ALARMS (%v)", info.State.Msgs, err)
	}
	s := events(t, srv.Conn())
	all, err := s.Info(t.Context(), jetstream.WithSubjectFilter(">"))
	if err != nil {
		t.Fatal(err)
	}
	for subject := range all.State.Subjects {
		if strings.Contains(subject, "bus-09") {
			t.Errorf("an acknowledgement lies under %s", subject)
		}
	}
}
