package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/share"
	"telltale/engine/stream/wire"
	"telltale/rules"
	"telltale/rules/unit"
)

var quietLog = slog.New(slog.DiscardHandler)

// simBooks are two books between which the simulated fleet changes.
var simBooks = [2]string{`book: 1
units: {distance: km, volume: L}
tasks:
  oil:
    every: {distance: 1000 km, time: 2 days}
    early: {distance: 100 km, time: 1 days}
    tolerance: 10%
    unknown history: from first reading
    cautions: [hot fluid]
    follow up: {leak check: {after: {distance: 50 km}, lapses: {distance: 150 km}}}
rules:
  iron:
    on: sample
    measure: value("Fe")
    above: {advisory: 30, caution: 60, warning: 120}
    masked: no
    advise: {advisory: Look., caution: Sample again., warning: Stop.}
    cautions: [hot fluid]
`, `book: 1
units: {distance: km, volume: L}
tasks:
  oil:
    every: {distance: 700 km}
    unknown history: from first reading
    cautions: [hot fluid]
rules:
  copper:
    on: sample
    measure: value("Cu")
    above: {caution: 50}
    advise: Sample again.
    cautions: [hot fluid]
`}

// TestSimulated runs the real worker against a server in memory, with calls that are
// lost, done and not answered, done hours late or refused, with owners that die before
// or after any call, that are replaced while they live, or stand still in the middle of
// a write and wake when another one is the owner, and with a store of records that
// loses its tail. The events hold poison, and ticks of a clock that jumps a day or a
// year and back. In the end what was said is what a fold of the log says, once each
// and in order, and the records are those of the fold. There are 500 seeds in
// CI and 20 elsewhere; TELLTALE_SEED=n runs one again.
func TestSimulated(t *testing.T) {
	runs := uint64(20)
	switch {
	case os.Getenv("TELLTALE_NIGHTLY") != "":
		runs = 20_000
	case os.Getenv("TELLTALE_CI") == "1":
		runs = 500
	}
	var seeds []uint64
	for n := range runs {
		seeds = append(seeds, n+1)
	}
	if one, err := strconv.ParseUint(os.Getenv("TELLTALE_SEED"), 10, 64); err == nil {
		seeds = []uint64{one}
	}
	for _, seed := range seeds {
		t.Run(strconv.FormatUint(seed, 10), func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) { simulate(t, seed) })
		})
	}
}

const simPartition = 3

// sim is one run.
type sim struct {
	t      *testing.T
	rnd    *rand.Rand
	server *memServer
	honest *memClient // on which nothing goes wrong
	cfg    Config
	owners []*simOwner
	books  [2]string // hashes
}

// simOwner is one process that owns the partition, or thinks so.
type simOwner struct {
	c      *memClient
	w      *worker
	cancel context.CancelCauseFunc
	loaded chan struct{} // closed once it folds
	ended  chan struct{}
	err    error
}

func simulate(t *testing.T, seed uint64) {
	s := &sim{t: t, rnd: rand.New(rand.NewPCG(seed, 0)), server: newMemServer(), cfg: Config{Program: "sim", Flush: 7 * time.Minute}}
	s.honest = newMemClient(s.server, nil)
	for i, text := range simBooks {
		files := []rules.File{{Name: "a.yaml", Text: []byte(text)}}
		b, err := rules.Load(files)
		if err != nil {
			t.Fatal(err)
		}
		s.books[i] = b.Hash
		storeBook(t, s.honest.log(), b.Hash, files)
	}
	published := make(chan struct{})
	events := s.events()
	pace := rand.New(rand.NewPCG(s.rnd.Uint64(), 2))
	go func() { defer close(published); s.publish(events, pace) }()
	for done := false; !done; {
		s.owner(true)
		select {
		case <-time.After(time.Duration(s.rnd.IntN(int(6 * time.Hour)))):
		case <-published:
			done = true
		}
		s.trouble()
	}
	s.endAll()
	time.Sleep(longest + time.Minute) // what was delayed arrives
	s.owner(false)
	last := s.owners[len(s.owners)-1]
	ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
	defer cancel()
	select { // nobody waits for a worker that does not fold yet
	case <-last.loaded:
	case <-last.ended:
		t.Fatalf("the last owner ended with %v", last.err)
	}
	seq, err := lastOf(ctx, last.w.log, simPartition)
	if err == nil {
		err = last.w.wait(ctx, seq)
	}
	if err != nil {
		t.Fatal(err)
	}
	last.cancel(errStopped)
	<-last.ended
	if !errors.Is(last.err, errStopped) {
		t.Fatalf("the last owner ended with %v", last.err)
	}
	s.check(last.w)
}

// owner begins a process that claims the partition, beside those that are there.
func (s *sim) owner(troubled bool) {
	var rnd *rand.Rand
	if troubled {
		rnd = rand.New(rand.NewPCG(s.rnd.Uint64(), 1))
	}
	c := newMemClient(s.server, rnd)
	if troubled && s.rnd.IntN(2) == 0 {
		c.left, c.after = 1+s.rnd.IntN(60), s.rnd.IntN(2) == 0
	}
	o := &simOwner{c: c, loaded: make(chan struct{}), ended: make(chan struct{})}
	l := c.log()
	o.w = newWorker(l, s.cfg, stream.NewShelf(l), simPartition)
	ctx, cancel := context.WithCancelCause(s.t.Context())
	o.cancel = cancel
	s.owners = append(s.owners, o)
	go func() { // a process that died is gone with its last call
		select {
		case <-c.dead:
			cancel(share.ErrCrashed)
		case <-ctx.Done():
		}
	}()
	go func() {
		defer close(o.ended)
		if o.err = o.w.load(ctx); o.err == nil {
			close(o.loaded)
			o.err = o.w.run(ctx)
		}
		o.w.fail(o.err)
		cancel(o.err)
	}()
}

// trouble ends the newest owner as a crash or an interrupt would, or lets it live
// beside its successor, or cuts the power under all of them.
func (s *sim) trouble() {
	o := s.owners[len(s.owners)-1]
	switch s.rnd.IntN(5) {
	case 0, 1:
		o.crash()
	case 2:
		o.cancel(errStopped)
		<-o.ended
	case 3: // it lives on
	case 4:
		for _, o := range s.owners {
			o.crash()
		}
		s.server.loseTail(s.rnd.IntN(6))
	}
}

func (o *simOwner) crash() {
	o.c.mu.Lock()
	if !o.c.gone() {
		close(o.c.dead)
	}
	o.c.mu.Unlock()
	o.cancel(share.ErrCrashed)
	<-o.ended
}

// endAll ends whoever lives; what an owner may end with is checked.
func (s *sim) endAll() {
	for i, o := range s.owners {
		o.cancel(share.ErrCrashed)
		<-o.ended
		switch {
		case errors.Is(o.err, errStopped), errors.Is(o.err, jet.ErrFenced), errors.Is(o.err, context.Canceled):
		case o.c.gone(), errors.Is(o.err, context.DeadlineExceeded): // it lost patience
		default:
			s.t.Errorf("owner %d ended with %v", i, o.err)
		}
	}
}

// events are a log's worth: readings, services, samples, voids, ticks and changes of
// the book, of three vehicles, some twice, late, changed or nonsense.
func (s *sim) events() []*nats.Msg {
	var names []string
	for i := 0; len(names) < 3; i++ {
		if name := fmt.Sprintf("bus-%d", i); stream.Partition(name) == simPartition {
			names = append(names, name)
		}
	}
	at := time.Now().UTC()
	var out []*nats.Msg
	internal := func(ev event.Event) {
		data, err := intake.Encode(ev)
		if err != nil {
			s.t.Fatal(err)
		}
		out = append(out, &nats.Msg{Subject: intake.Subject(ev), Data: data})
	}
	in := func(ev event.Event) {
		data, err := intake.Encode(ev)
		if err != nil {
			s.t.Fatal(err)
		}
		out = append(out, &nats.Msg{Subject: fmt.Sprintf("telltale.event.%d.%s.%s", simPartition, intake.Token(ev.Vehicle), ev.Kind), Data: data})
	}
	book := func(i, n int) {
		internal(event.Event{ID: event.ID{Source: "/telltale", ID: fmt.Sprintf("book %d", n)}, Kind: event.BookEvent, Time: at, Recorded: at, Data: &event.BookData{Hash: s.books[i]}})
	}
	book(0, 0)
	for _, name := range names {
		in(reported(name, "register", event.VehicleEvent, at, &event.VehicleData{Name: name, Kind: "minibus",
			Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}, Components: []event.ComponentDef{{Name: "engine", Kind: "diesel engine"}}}))
	}
	odo := map[string]float64{}
	for n := range 120 {
		at = at.Add(time.Duration(10+s.rnd.IntN(50)) * time.Minute)
		name := names[s.rnd.IntN(len(names))]
		odo[name] += float64(20 + s.rnd.IntN(200))
		id := fmt.Sprintf("e-%d", n)
		switch s.rnd.IntN(12) {
		case 0:
			in(reported(name, id, event.ServiceEvent, at, &event.ServiceData{Tasks: []string{[]string{"oil", "leak check"}[s.rnd.IntN(2)]},
				Meters: map[string]unit.Quantity{"odometer": {Value: odo[name], Unit: "km"}}}))
		case 1, 2:
			in(reported(name, id, event.SampleEvent, at, &event.SampleData{Number: id, Component: "engine", Results: []event.ResultData{
				{Analyte: "Fe", Value: ptr(float64(s.rnd.IntN(160))), Unit: "mg/kg"}, {Analyte: "Cu", Value: ptr(float64(s.rnd.IntN(90))), Unit: "mg/kg"}}}))
		case 3:
			in(reported(name, id, event.VoidEvent, at, &event.VoidData{Source: "/test/" + name, ID: fmt.Sprintf("e-%d", s.rnd.IntN(n+1))}))
		case 4:
			internal(intake.Tick(at))
			if s.rnd.IntN(4) == 0 { // the clock jumps, and comes back
				jump := []time.Duration{24 * time.Hour, 366 * 24 * time.Hour, -24 * time.Hour, -366 * 24 * time.Hour}[s.rnd.IntN(4)]
				internal(intake.Tick(at.Add(jump)))
			}
		case 5:
			if s.rnd.IntN(3) == 0 {
				book(s.rnd.IntN(2), n+1)
			}
		case 6:
			poison := poisons[s.rnd.IntN(len(poisons))]
			out = append(out, &nats.Msg{Subject: fmt.Sprintf("telltale.event.%d.%s.reading", simPartition, name), Data: []byte(strings.ReplaceAll(poison, "BUS", name))})
		case 7: // late
			in(reported(name, id, event.ReadingEvent, at.Add(-3*time.Hour), &event.ReadingData{Meter: "odometer", Value: odo[name], Unit: "km"}))
		default:
			in(reported(name, id, event.ReadingEvent, at, &event.ReadingData{Meter: "odometer", Value: odo[name], Unit: "km"}))
		}
		if s.rnd.IntN(8) == 0 { // again, as it was or changed
			last := *out[len(out)-1]
			if s.rnd.IntN(3) == 0 {
				last.Data = []byte(strings.Replace(string(last.Data), `"km"`, `"mi"`, 1))
			}
			out = append(out, &last)
		}
	}
	return out
}

// poisons are messages that no gateway should send, on the subject of a reading of BUS.
var poisons = []string{
	"nonsense", "", "{", "null", "[]", strings.Repeat("[", 20_000), strings.Repeat("x", 70_000),
	`{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"p","id":"q","subject":"BUS","time":"2000-01-01T00:00:00Z","data":{"meter":"odometer","value":1,"unit":"km"}}`,
	`{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"p","subject":"other","time":"2000-01-01T00:00:00Z","data":{"meter":"odometer","value":1,"unit":"km"}}`,
	`{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"p","subject":"BUS","time":"2000-01-01T00:00:00Z","data":{"meter":"odometer","value":1e400,"unit":"km"}}`,
	`{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"p","subject":"BUS","time":"2000-01-01T00:00:00Z","data":{"meter":"odometer","value":1,"unit":"furlong"}}`,
	`{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"p` + "\xff" + `","subject":"BUS","time":"2000-01-01T00:00:00Z","data":{"meter":"odometer","value":1,"unit":"km"}}`,
	`{"specversion":"1.0","type":"telltale.sample.v1","source":"/test","id":"p","subject":"BUS","time":"2000-01-01T00:00:00Z","data":{}}`,
	`{"specversion":"1.0","type":"telltale.tick.v1","source":"/telltale","id":"p","time":"2100-01-01T00:00:00Z","data":{}}`,
	`{"specversion":"1.0","type":"telltale.book.v1","source":"/telltale","id":"p","time":"2000-01-01T00:00:00Z","data":{"hash":"sha256:0"}}`,
	`{"specversion":"1.0","type":"telltale.reading.v1","source":"/test","id":"p","subject":"BUS","time":"2099-01-01T00:00:00Z","data":{"meter":"odometer","value":1,"unit":"km"}}`,
}

func ptr[T any](v T) *T { return &v }

// publish stores the events in the pace of their times.
func (s *sim) publish(events []*nats.Msg, pace *rand.Rand) {
	for _, m := range events {
		time.Sleep(time.Duration(pace.IntN(int(40 * time.Minute))))
		if _, err := s.server.store(m); err != nil {
			s.t.Error(err)
		}
	}
}

// check compares what was said, and the records, with a fold of the log.
func (s *sim) check(w *worker) {
	fold := newWorker(s.honest.log(), s.cfg, stream.NewShelf(s.honest.log()), simPartition)
	var want []string
	for _, m := range s.server.streams[stream.EventsStream].msgs {
		ev, refusal, _ := fold.decode(&memDelivered{m: m}, m.at)
		var out []engine.Output
		if refusal != nil {
			out = []engine.Output{{Refused: refusal}}
		} else {
			if d, ok := ev.Data.(*event.BookData); ok {
				var err error
				if d.Book, err = fold.shelf.Book(s.t.Context(), d.Hash); err != nil {
					s.t.Fatal(err)
				}
			}
			out = fold.fold.Apply(ev)
		}
		list, err := wire.Messages(1, m.seq, out)
		if err != nil {
			s.t.Fatal(err)
		}
		for _, b := range list {
			want = append(want, outputLines(b)...)
		}
	}
	var got []string
	for _, m := range s.server.streams[stream.AlarmsStream].msgs {
		b, err := wire.DecodeBody(m.Data)
		if err != nil {
			s.t.Fatal(err)
		}
		if b.Reconciled {
			s.t.Errorf("reconciled by the same program: %s", m.Data)
		}
		if b.Claim == nil {
			got = append(got, outputLines(b)...)
		}
	}
	if len(want) < 20 {
		s.t.Errorf("only %d outputs: the run shows nothing", len(want))
	}
	s.firstDifference("said", strings.Join(got, "\n"), strings.Join(want, "\n"))
	s.records(fold.fold, w)
}

// nextOf is when a tick looks at a vehicle again, which after a start may be sooner.
var nextOf = regexp.MustCompile(`,"next":\d+}$`)

func facts(record []byte) string { return nextOf.ReplaceAllString(string(record), "}") }

// firstDifference shows where two texts part.
func (s *sim) firstDifference(what, got, want string) {
	if got == want {
		return
	}
	i := 0
	for i < min(len(got), len(want)) && got[i] == want[i] {
		i++
	}
	from := max(0, i-200)
	s.t.Errorf("%s:\n…%s\na fold of the log has\n…%s", what, got[from:min(len(got), i+200)], want[from:min(len(want), i+200)])
}

// outputLines are a message's outputs, each with its place.
func outputLines(b wire.Body) (out []string) {
	for i, o := range b.Outputs {
		out = append(out, fmt.Sprintf("%d.%d %s", b.Event, b.N+i, o))
	}
	return out
}

// records compares those that were written with those of the fold.
func (s *sim) records(fold *engine.Partition, w *worker) {
	state := s.server.streams[stream.StateStream]
	for _, v := range fold.Vehicles() {
		want, err := fold.Encode(v)
		if err != nil {
			s.t.Fatal(err)
		}
		m := state.last(wire.RecordSubject(simPartition, intake.Token(v)))
		if m == nil {
			s.t.Errorf("%s has no record", v)
			continue
		}
		s.firstDifference(fmt.Sprintf("the record of %s at %s", v, m.Header.Get(wire.PositionHeader)), facts(m.Data), facts(want))
	}
	c, err := wire.DecodeCheckpoint(state.last(wire.CheckpointSubject(simPartition)).Data)
	if err != nil || c.Seq != w.at.Seq || c.Records != len(fold.Vehicles()) || !c.Tick.Equal(fold.Now()) {
		s.t.Errorf("the checkpoint is %+v (%v); the log ends at %d", c, err, w.at.Seq)
	}
}

// storeBook stores a book's text alone.
func storeBook(t *testing.T, l *stream.Log, hash string, files []rules.File) {
	t.Helper()
	at := "telltale.book." + strings.TrimPrefix(hash, "sha256:")
	var names []string
	put := func(subject string, text []byte) {
		if err := l.Books.Store(t.Context(), &nats.Msg{Subject: subject, Data: text}); err != nil {
			t.Fatal(err)
		}
	}
	for i, f := range files {
		names = append(names, f.Name)
		put(fmt.Sprintf("%s.%d", at, i), f.Text)
	}
	list, err := json.Marshal(names)
	if err != nil {
		t.Fatal(err)
	}
	put(at, list)
}
