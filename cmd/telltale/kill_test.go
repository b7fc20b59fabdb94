package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/alarm"
	"telltale/engine/stream"
	"telltale/notify/delivery"
)

const killBook = `book: 1
units: {distance: km, volume: L}
tasks:
  engine oil:
    every: {distance: 1000 km}
    early: {distance: 100 km}
    tolerance: 10%
    unknown history: from first reading
    cautions: [hot fluid]
    follow up: {leak check: {after: {distance: 50 km}}}
rules:
  iron:
    on: sample
    measure: value("Fe")
    above: {advisory: 30, caution: 60, warning: 120}
    deadband: 10%
    masked: no
    advise: {advisory: Look., caution: Sample again., warning: Stop.}
    cautions: [hot fluid]
`

// TestKilledAtRandom kills the service in the middle of its work, fifty times in CI and
// twice elsewhere, while a gateway goes on publishing, some of it twice, late or void. In the end what it
// said is what a fold of the log says, once each, and so is what was told.
func TestKilledAtRandom(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	f := newKillFleet(t, seed, natsServer(t), 1)
	procs := make([]*process, len(f.dirs))
	for i, dir := range f.dirs {
		procs[i] = startProcess(t, dir)
	}
	if !poll(patience, func() bool { code, _, _ := told(t, "adopt", f.dirs[0]); return code == 0 }) {
		t.Fatalf("the rules are not adopted; the service's log:\n%s", f.logs(t))
	}
	stop := make(chan struct{})
	var publishing sync.WaitGroup
	publishing.Go(func() { f.publish(t, stop) })
	kills := 2
	if underCI() {
		kills = 50
	}
	for range kills {
		n := f.rnd.IntN(len(procs))
		time.Sleep(time.Duration(50+f.rnd.IntN(600)) * time.Millisecond) // a random moment is the point
		procs[n].kill()
		procs[n] = startProcess(t, f.dirs[n])
	}
	f.enough(t)
	close(stop)
	publishing.Wait()
	f.settle(t)
	for _, p := range procs {
		p.end(t)
	}
	f.check(t)
}

// killFleet is a NATS server, the folders of services on it, and what was published.
type killFleet struct {
	url   string
	nc    *nats.Conn
	js    jetstream.JetStream
	dirs  []string
	rnd   *rand.Rand // of the killer
	seed  uint64
	acked map[string]uint64 // by identity, the place in the log
	sent  atomic.Int64
	now   time.Time // of the last event, once all are published
}

const (
	killVehicles = 24
	lastBus      = "bus-last" // of which one alarm is told, when all else was said
)

func newKillFleet(t *testing.T, seed uint64, url string, replicas int) *killFleet {
	t.Helper()
	f := &killFleet{url: url, seed: seed, rnd: rand.New(rand.NewPCG(seed, 1)), acked: map[string]uint64{}}
	var register strings.Builder
	register.WriteString("vehicles:\n")
	for i := range killVehicles {
		fmt.Fprintf(&register, "  bus-%02d: {name: Bus %d, kind: minibus, meters: {odometer: distance}, components: {engine: {kind: diesel engine}}}\n", i, i)
	}
	fmt.Fprintf(&register, "  %s: {name: Last, kind: minibus, components: {engine: {kind: diesel engine}}}\n", lastBus)
	for range replicas {
		f.dirs = append(f.dirs, folder(t, map[string]string{
			"rules/bus.yaml": killBook, "telltale.yaml": "clock: events\nnats: " + f.url + "\n", "vehicles.yaml": register.String(),
			"people.yaml": "people:\n  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}\ntell:\n  all: {who: [ines]}\n",
		}))
	}
	var err error
	if f.nc, err = nats.Connect(f.url, nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(f.nc.Close)
	if f.js, err = jetstream.New(f.nc); err != nil {
		t.Fatal(err)
	}
	return f
}

// publish sends events until it is told to stop, each until it is acknowledged.
func (f *killFleet) publish(t *testing.T, stop chan struct{}) {
	rnd := rand.New(rand.NewPCG(f.seed, 2))
	odo := make([]int, killVehicles)
	began := time.Date(2031, 1, 1, 6, 0, 0, 0, time.UTC)
	pace := time.NewTicker(4 * time.Millisecond)
	defer pace.Stop()
	for n := 0; ; n++ {
		select {
		case <-stop:
			return
		case <-pace.C:
		}
		v := n % killVehicles
		f.now = began.Add(time.Duration(n) * time.Minute)
		vehicle, at := fmt.Sprintf("bus-%02d", v), f.now
		odo[v] += 20 + rnd.IntN(60)
		kind, data := "reading", fmt.Sprintf(`{"meter":"odometer","value":%d,"unit":"km"}`, odo[v])
		switch rnd.IntN(12) {
		case 0:
			kind, data = "service", fmt.Sprintf(`{"tasks":["engine oil"],"component":"engine","meters":{"odometer":{"value":%d,"unit":"km"}}}`, odo[v])
		case 1:
			kind, data = "service", `{"tasks":["leak check"]}`
		case 2:
			kind, data = "sample", fmt.Sprintf(`{"number":"L-%d","component":"engine","meters":{"odometer":{"value":%d,"unit":"km"}},"results":[{"analyte":"Fe","value":%d,"unit":"mg/kg"}]}`, n, odo[v], rnd.IntN(160))
		case 3:
			if n > 2*killVehicles {
				kind, data = "void", fmt.Sprintf(`{"source":"/gateway","id":"e-%d"}`, n-killVehicles)
			}
		case 4:
			at = at.Add(-90 * time.Minute) // late
		}
		id := fmt.Sprintf("e-%d", n)
		text := fmt.Sprintf(`{"specversion":"1.0","type":"telltale.%s.v1","source":"/gateway","id":%q,"subject":%q,"time":%q,"recordedtime":%q,"data":%s}`,
			kind, id, vehicle, at.Format(time.RFC3339), f.now.Format(time.RFC3339), data)
		for again := range 1 + rnd.IntN(6)/5 { // one in six twice, with nothing that the server could know it by
			seq, err := f.store(t.Context(), "telltale.in."+vehicle+"."+kind, text)
			if err != nil {
				t.Errorf("publishing %s: %v", id, err)
				return
			}
			if again == 0 {
				f.acked[id] = seq
				f.sent.Add(1)
			}
		}
	}
}

// store publishes until the server says that it is stored. What was stored and not
// answered is stored twice.
func (f *killFleet) store(ctx context.Context, subject, text string) (uint64, error) {
	for end := time.Now().Add(patience); ; {
		c, cancel := context.WithTimeout(ctx, time.Second)
		ack, err := f.js.Publish(c, subject, []byte(text))
		cancel()
		if err == nil {
			return ack.Sequence, nil
		}
		if time.Now().After(end) || ctx.Err() != nil {
			return 0, err
		}
	}
}

// process is `telltale serve` in a process of its own.
type process struct {
	cmd *exec.Cmd
	log *os.File
}

func startProcess(t *testing.T, dir string) *process {
	t.Helper()
	log, err := os.OpenFile(filepath.Join(dir, "serve.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	p := &process{exec.Command("telltale", "serve", "--dir", dir), log}
	p.cmd.Stderr = log
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.kill)
	return p
}

// kill ends the process as a lost machine would.
func (p *process) kill() {
	_ = p.cmd.Process.Kill() // it may be gone
	_ = p.cmd.Wait()
	_ = p.log.Close()
}

// end interrupts the process, which is no failure.
func (p *process) end(t *testing.T) {
	t.Helper()
	if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Error(err)
	}
	if err := p.cmd.Wait(); err != nil {
		t.Errorf("%s: %v", p.cmd, err)
	}
}

// interrupt ends a process that may not yet have come so far as to hear of it.
func (p *process) interrupt(t *testing.T) {
	t.Helper()
	if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Error(err)
	}
	err := p.cmd.Wait()
	if s, ok := p.cmd.ProcessState.Sys().(syscall.WaitStatus); err != nil && (!ok || s.Signal() != syscall.SIGINT) {
		t.Errorf("%s: %v", p.cmd, err)
	}
}

// enough waits until so much was published that something can be told by it.
func (f *killFleet) enough(t *testing.T) {
	t.Helper()
	if !poll(patience, func() bool { return f.sent.Load() > 500 }) {
		t.Fatalf("only %d events were stored", f.sent.Load())
	}
}

// settle waits until everything that was published is folded, told and delivered. An
// alarm that is said last shows that all before it was told: nobody may be telling for
// as long as it takes to notice that the one who did is gone.
func (f *killFleet) settle(t *testing.T) {
	t.Helper()
	l, err := stream.Open(t.Context(), f.nc, stream.LogConfig{})
	if err != nil {
		t.Fatal(err)
	}
	f.quiet(t, l, func([]delivery.Delivery) bool { return true })
	f.sayLast(t)
	f.quiet(t, l, func(list []delivery.Delivery) bool {
		return slices.ContainsFunc(list, func(d delivery.Delivery) bool { return d.Vehicle == lastBus }) &&
			!slices.ContainsFunc(list, delivery.Delivery.Pending)
	})
}

// quiet waits until the services are at the end of the log, the deliveries are as they
// should be, and for half a second nothing more is said.
func (f *killFleet) quiet(t *testing.T, l *stream.Log, enough func([]delivery.Delivery) bool) {
	t.Helper()
	quiet, before := 0, uint64(0)
	if !poll(2*patience, func() bool {
		last, err := l.LastOutput(t.Context())
		list, err2 := delivery.All(t.Context(), l.Deliveries())
		if errors.Join(err, err2) != nil || last != before || !enough(list) || !f.caughtUp(t) {
			quiet, before = 0, last
			return false
		}
		quiet++
		return quiet > 25
	}) {
		t.Fatalf("the service does not catch up; its log:\n%s", f.logs(t))
	}
}

// sayLast stores an event of which there is an alarm, long enough after the others to
// be told by itself.
func (f *killFleet) sayLast(t *testing.T) {
	t.Helper()
	at := f.now.Add(time.Hour).Format(time.RFC3339)
	seq, err := f.store(t.Context(), "telltale.in."+lastBus+".sample", fmt.Sprintf(
		`{"specversion":"1.0","type":"telltale.sample.v1","source":"/gateway","id":"last","subject":%q,"time":%q,"recordedtime":%q,"data":{"number":"L-last","component":"engine","results":[{"analyte":"Fe","value":500,"unit":"mg/kg"}]}}`,
		lastBus, at, at))
	if err != nil {
		t.Fatal(err)
	}
	f.acked["last"] = seq
}

// caughtUp reports whether a service answers that its partitions are at the end.
func (f *killFleet) caughtUp(t *testing.T) bool {
	code, _, _ := told(t, "due", "--nats", f.url)
	return code == 0
}

func (f *killFleet) logs(t *testing.T) string {
	var all strings.Builder
	for _, dir := range f.dirs {
		text, err := os.ReadFile(filepath.Join(dir, "serve.log"))
		if err != nil {
			t.Error(err)
		}
		all.Write(text[max(0, len(text)-4000):])
	}
	return all.String()
}

// check holds what was said and told to the log of events.
func (f *killFleet) check(t *testing.T) {
	t.Helper()
	log := f.eventLog(t)
	want := map[string][]string{}
	for line := range strings.Lines(telltale(t, "replay", "--json", "--rules", filepath.Join(f.dirs[0], "rules"), log)) {
		f.add(t, want, []byte(line))
	}
	got, told := map[string][]string{}, map[string]int{}
	for _, m := range said(t, f.nc) {
		if m.Reconciled {
			t.Errorf("a message was reconciled, by the same program: %+v", m)
		}
		for _, o := range m.Outputs {
			switch {
			case o.Transition != nil:
				line, err := json.Marshal(o.Transition)
				if err != nil {
					t.Fatal(err)
				}
				f.add(t, got, line)
				told[o.Transition.Vehicle]++
			case o.Refused != nil && !o.Refused.Kept && !strings.Contains(o.Refused.Refused, "void"):
				t.Errorf("refused: %+v", o.Refused)
			}
		}
	}
	total := 0
	for _, v := range slices.Sorted(maps.Keys(want)) {
		total += len(want[v])
		if !slices.Equal(got[v], want[v]) {
			t.Errorf("%s: said\n%s\na fold of the log says\n%s", v, strings.Join(got[v], "\n"), strings.Join(want[v], "\n"))
		}
	}
	if len(got) != len(want) || total < 100 {
		t.Errorf("%d vehicles said something, want %d; %d transitions", len(got), len(want), total)
	}
	t.Logf("%d events acknowledged, %d transitions", len(f.acked), total)
	f.checkMails(t)
}

func (f *killFleet) add(t *testing.T, to map[string][]string, line []byte) {
	t.Helper()
	var x alarm.Transition
	if err := json.Unmarshal(line, &x); err != nil {
		t.Fatalf("%v: %s", err, line)
	}
	to[x.Vehicle] = append(to[x.Vehicle], fmt.Sprintf("%s %s %s %s->%s %s %s", x.Time.Format(time.RFC3339), x.Rule, x.Transition, x.From, x.To, x.Message, x.Events))
}

// eventLog writes what is in the log, in its order, to a file; what was acknowledged
// must be there.
func (f *killFleet) eventLog(t *testing.T) string {
	t.Helper()
	log, err := f.js.Stream(t.Context(), "EVENTS")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "log.jsonl")
	var text strings.Builder
	ids := map[uint64]string{}
	info, err := log.Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for seq := info.State.FirstSeq; seq <= info.State.LastSeq; seq++ {
		m, err := log.GetMsg(t.Context(), seq)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(m.Subject, "telltale.event.") {
			continue
		}
		var e struct{ ID string }
		if err := json.Unmarshal(m.Data, &e); err != nil {
			t.Fatal(err)
		}
		ids[seq] = e.ID
		text.Write(m.Data)
		text.WriteString("\n")
	}
	for id, seq := range f.acked {
		if ids[seq] != id {
			t.Errorf("%s was acknowledged at %d, where %q is", id, seq, ids[seq])
		}
	}
	if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// checkMails looks for mails that were lost or told twice as new: every delivery is
// sent, none was made twice, and of each there is a file, under one identity.
func (f *killFleet) checkMails(t *testing.T) {
	t.Helper()
	l, err := stream.Open(t.Context(), f.nc, stream.LogConfig{})
	if err != nil {
		t.Fatal(err)
	}
	list, err := delivery.All(t.Context(), l.Deliveries())
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]bool{}
	for _, d := range list {
		if d.State != delivery.Sent {
			t.Errorf("delivery %s is %s: %s", d.Key, d.State, d.LastError)
		}
		if want[d.MessageID] {
			t.Errorf("%s was made twice", d.MessageID)
		}
		want[d.MessageID] = true
	}
	got := map[string]bool{}
	for _, dir := range f.dirs {
		files, err := filepath.Glob(filepath.Join(dir, "mail", "*.eml"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range files {
			got[messageID(t, path)] = true
		}
	}
	if !maps.Equal(got, want) {
		t.Errorf("%d deliveries, of which there are %d mails", len(want), len(got))
	}
	t.Logf("%d mails", len(got))
}

func messageID(t *testing.T, path string) string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	m, err := mail.ReadMessage(file)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return m.Header.Get("Message-ID")
}
