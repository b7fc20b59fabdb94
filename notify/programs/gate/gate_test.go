package gate

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"

	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/service"
	"telltale/notify/people"
	"telltale/notify/programs"
	"telltale/rules"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) { quick.Main(m) }

// said is a log that may be read while it is written.
type said struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write takes in a line.
func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func until(t *testing.T, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); !done(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it never came that %s", what)
		}
	}
}

// fleet is a running service with its gate.
type fleet struct {
	*Gate
	srv *server.Server
	log *stream.Log
	said
}

const north = `, where: 'vehicle.tags["depot"] == "north"'`

func start(t *testing.T, file string) *fleet {
	t.Helper()
	f := &fleet{}
	f.Gate = New(t.TempDir(), slog.New(slog.NewTextHandler(&f.said, nil)), directory(t, file), nil)
	programs, closed := f.Programs()
	var err error
	if f.srv, err = server.Embed(t.Context(), server.Config{Dir: t.TempDir(), Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler), Programs: programs, Closed: closed, Refused: f.Refuse}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.srv.Close() })
	if f.log, err = stream.Open(t.Context(), f.srv.Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)}); err != nil {
		t.Fatal(err)
	}
	svc, err := service.Start(t.Context(), f.log, service.Config{ClockFollowsEvents: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { svc.Stop() })
	files := []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}}
	book, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.log.PublishBook(t.Context(), time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC), book, files); err != nil {
		t.Fatal(err)
	}
	if err := svc.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := f.Open(t.Context(), f.srv, svc); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); _ = f.Run(ctx) }()
	t.Cleanup(func() { stop(); <-done })
	return f
}

func directory(t *testing.T, file string) *people.Directory {
	t.Helper()
	d, err := people.Parse("people.yaml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func (f *fleet) register(t *testing.T, id, depot string, was string) {
	t.Helper()
	ev, err := intake.Decode([]byte(fmt.Sprintf(`{"specversion":"1.0","type":"telltale.vehicle.v1","source":"/register","id":"%s %s","subject":"%s","time":"2031-01-02T00:00:00Z",
		"data":{"name":"%s","kind":"minibus","tags":{"depot":"%s"}%s,"meters":[{"name":"odometer","kind":"distance"}]}}`, id, depot, id, id, depot, was)))
	if err == nil {
		err = f.log.Publish(t.Context(), ev)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// program is a client with a key.
type program struct {
	key nkeys.KeyPair
	pub string
	nc  *nats.Conn
	cut chan struct{}
}

func newProgram(t *testing.T) *program {
	t.Helper()
	k, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	pub, err := k.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	return &program{key: k, pub: pub, cut: make(chan struct{})}
}

func (p *program) connect(t *testing.T, f *fleet) {
	t.Helper()
	var err error
	p.nc, err = nats.Connect(f.srv.URL(), nats.Nkey(p.pub, p.key.Sign), nats.Name("gw"), nats.MaxReconnects(0), nats.ClosedHandler(func(*nats.Conn) { close(p.cut) }),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.nc.Close)
}

// sends reports whether an event is stored within some time.
func (p *program) sends(t *testing.T, subject string, within time.Duration) bool {
	t.Helper()
	js, err := jetstream.New(p.nc)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), within)
	defer cancel()
	_, err = js.Publish(ctx, subject, []byte("{}"))
	return err == nil
}

const soon, patient = 200 * time.Millisecond, time.Minute

// TestGate has a gateway that may send of the vehicles of a depot: of those that are there,
// of one that comes later, of one under its earlier name; and no longer of one that leaves,
// nor once it is taken out of people.yaml. Another one stays connected all the time.
func TestGate(t *testing.T) {
	g, other := newProgram(t), newProgram(t)
	both := fmt.Sprintf("programs:\n  gateway-3: {key: %s, sends: [reading]%s}\n  valley: {key: %s, sends: [sample]}\n", g.pub, north, other.pub)
	f := start(t, both)
	g.connect(t, f)
	other.connect(t, f)
	if g.sends(t, "telltale.in.bus-07.reading", soon) {
		t.Error("it may send of a vehicle that nobody registered")
	}
	until(t, "the log names the vehicle", func() bool {
		return strings.Contains(f.String(), `level=WARN msg="a program was refused" program=gateway-3 subject=telltale.in.bus-07.reading why="no vehicle bus-07 is registered, and with `+"`where`"+` it sends of registered ones alone" from=127.0.0.1 times=1`)
	})
	f.register(t, "bus-07", "north", "")
	f.register(t, "bus-09", "hills", "")
	until(t, "the gateway may send of bus-07", func() bool { return g.sends(t, "telltale.in.bus-07.reading", soon) })
	if g.sends(t, "telltale.in.bus-09.reading", soon) || g.sends(t, "telltale.in.bus-07.sample", soon) || !other.sends(t, "telltale.in.bus-09.sample", patient) {
		t.Error("it may send of another depot, or another kind; or the laboratory may not")
	}
	f.register(t, "minibus-7", "north", `,"was":["bus-07"]`)
	until(t, "the gateway may send of the new name", func() bool { return g.sends(t, "telltale.in.minibus-7.reading", soon) })
	if !g.sends(t, "telltale.in.bus-07.reading", patient) {
		t.Error("it may not send under the earlier name")
	}

	all, unknown, err := f.Statuses()
	if err != nil || len(all) != 2 || unknown.Count != 0 {
		t.Fatalf("there are %+v, %+v, %v", all, unknown, err)
	}
	if s := all[0]; s.ID != "gateway-3" || s.Vehicles != 1 || len(s.Connections) != 1 || s.Refused.Count < 3 || s.Refused.Subject == "" || s.Refused.Why == "" {
		t.Errorf("the gateway stands as %+v", s)
	}
	if n := strings.Count(f.String(), "a program was refused"); n != 1 {
		t.Errorf("the log says it %d times within a minute, want once", n)
	}

	if err := f.Set(t.Context(), directory(t, fmt.Sprintf("programs:\n  valley: {key: %s, sends: [sample]}\n", other.pub))); err != nil {
		t.Fatal(err)
	}
	select {
	case <-g.cut:
	case <-time.After(patient):
		t.Fatal("who was taken out of people.yaml is still connected")
	}
	if !other.sends(t, "telltale.in.bus-09.sample", patient) {
		t.Error("the other one is gone as well")
	}
	if _, err := nats.Connect(f.srv.URL(), nats.Nkey(g.pub, g.key.Sign)); err == nil {
		t.Error("who was taken out is let in again")
	}
	until(t, "the log names the key", func() bool { return strings.Contains(f.String(), `msg="a client was not let in" key=`+g.pub) })

	n, err := f.End("valley")
	if err != nil || n != 1 {
		t.Errorf("%d connections were ended, %v", n, err)
	}
	select {
	case <-other.cut:
	case <-time.After(patient):
		t.Fatal("the connection that was ended is still there")
	}
}

// TestTally says at once what is refused, and then of each program once a minute, how often.
func TestTally(t *testing.T) {
	ta, at := tally{of: map[string]*Refused{}}, time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		id    string
		after time.Duration
		want  int
	}{{"a", 0, 1}, {"a", time.Second, 0}, {"b", time.Second, 1}, {"", time.Second, 1}, {"a", 59 * time.Second, 0}, {"a", time.Minute, 3}, {"a", 61 * time.Second, 0}, {"a", 3 * time.Minute, 2}} {
		if got := ta.note(tt.id, at.Add(tt.after), "s", "w"); got != tt.want {
			t.Errorf("%q after %v: %d said, want %d", tt.id, tt.after, got, tt.want)
		}
	}
	if r := ta.of["a"]; r.Count != 6 || !r.At.Equal(at.Add(3*time.Minute)) {
		t.Errorf("counted %+v", r)
	}
}

// TestStart: before the service is up a program may send of the vehicles that the register
// in the folder names, so that nothing is refused meanwhile.
func TestStart(t *testing.T) {
	register, err := intake.Register("vehicles.yaml", []byte("vehicles:\n  bus-07: {name: Bus 7, was: [old 7], tags: {depot: north}}\n  bus-09: {name: Bus 9, tags: {depot: hills}}\n"), time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	g := New(t.TempDir(), slog.New(slog.DiscardHandler), directory(t, fmt.Sprintf("programs:\n  gateway-3: {key: %s, sends: [reading]%s}\n", newProgram(t).pub, north)), register)
	list, closed := g.Programs()
	if want := "[telltale.in.bus-07.reading telltale.in.old=207.reading]"; !closed || len(list) != 1 || fmt.Sprint(list[0].Publishes) != want {
		t.Errorf("at the start there are %+v, closed: %t; want %s", list, closed, want)
	}
}

// TestTokenFiles: a token file that cannot be used keeps its program out, and the log says
// why, not what stands there.
func TestTokenFiles(t *testing.T) {
	dir := t.TempDir()
	token, line := programs.NewToken()
	for name, text := range map[string]string{"good": line, "bad": token} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	log := &said{}
	d := directory(t, "programs:\n  till: {token file: good, sends: [service]}\n  other: {token file: bad, sends: [service]}\n  third: {token file: none, sends: [service]}\n")
	g := New(dir, slog.New(slog.NewTextHandler(log, nil)), d, nil)
	if p := g.ByToken(token, "127.0.0.1"); p == nil || p.ID != "till" {
		t.Errorf("the token is that of %v", p)
	}
	if p := g.ByToken(token+"x", "127.0.0.1"); p != nil {
		t.Errorf("another token is that of %s", p.ID)
	}
	text := log.String()
	for _, want := range []string{"program=other", "it holds the token itself", "program=third", "no such file", "a client without a token that is known was not let in"} {
		if !strings.Contains(text, want) {
			t.Errorf("the log does not say %s:\n%s", want, text)
		}
	}
	if strings.Contains(text, token) || strings.Contains(text, line) {
		t.Errorf("the log tells a secret:\n%s", text)
	}
}
