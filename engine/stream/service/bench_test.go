package service

import (
	"context"
	"fmt"
	"log/slog"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/rules"
)

// benchServer runs a server that leaves syncing to the system, so that filling it
// takes less time than what is measured.
func benchServer(b testing.TB) *stream.Log {
	b.Helper()
	ns, err := natsserver.NewServer(&natsserver.Options{Host: "127.0.0.1", Port: natsserver.RANDOM_PORT, JetStream: true, StoreDir: b.TempDir(), NoSigs: true, NoLog: true})
	if err != nil {
		b.Fatal(err)
	}
	go ns.Start()
	b.Cleanup(func() { ns.Shutdown(); ns.WaitForShutdown() })
	if !ns.ReadyForConnections(10 * time.Second) {
		b.Fatal("the NATS server does not come up")
	}
	nc, err := nats.Connect(ns.ClientURL())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(nc.Close)
	return benchLog(b, nc)
}

func benchLog(b testing.TB, nc *nats.Conn) *stream.Log {
	b.Helper()
	l, err := stream.Open(b.Context(), nc, stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		b.Fatal(err)
	}
	return l
}

// fill publishes messages without waiting for each.
func fill(b testing.TB, l *stream.Log, msgs func(yield func(*nats.Msg) bool)) {
	b.Helper()
	n := 0
	wait := func() {
		select {
		case <-l.JS.PublishAsyncComplete():
		case <-time.After(time.Minute):
			b.Fatal("what was published is not acknowledged")
		}
	}
	for m := range msgs {
		if _, err := l.JS.PublishMsgAsync(m); err != nil {
			b.Fatal(err)
		}
		if n++; n%1000 == 0 {
			wait()
		}
	}
	wait()
}

// inMsg is the event as a gateway publishes it.
func inMsg(b testing.TB, ev event.Event) *nats.Msg {
	b.Helper()
	data, err := intake.Encode(ev)
	if err != nil {
		b.Fatal(err)
	}
	return &nats.Msg{Subject: "telltale.in." + intake.Token(ev.Vehicle) + "." + ev.Kind.String(), Data: data}
}

func benchBook(b testing.TB, l *stream.Log, text string) {
	b.Helper()
	files := []rules.File{{Name: "oil.yaml", Text: []byte(text)}}
	book, err := rules.Load(files)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := l.PublishBook(b.Context(), start, book, files); err != nil {
		b.Fatal(err)
	}
}

// counted reads all events by the partitions' filtered ordered consumers and does
// nothing with them: the floor of what folding them costs.
func counted(b *testing.B, l *stream.Log, s *jet.Stream, filter func(p int) []string) (n int) {
	b.Helper()
	var mu sync.Mutex
	var wg sync.WaitGroup
	for p := range stream.Partitions {
		wg.Go(func() {
			ctx, cancel := context.WithCancel(b.Context())
			defer cancel()
			msgs, ended, err := s.Read(ctx, 1, filter(p)...)
			if err != nil {
				b.Error(err)
				return
			}
			for own := 1; ; own++ {
				select {
				case m := <-msgs:
					if meta, err := m.Metadata(); err != nil || meta.NumPending == 0 {
						mu.Lock()
						defer mu.Unlock()
						n += own
						return
					}
				case err := <-ended:
					b.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	return n
}

// ready starts a service that folds all that the log holds, and measures how long it
// takes.
func ready(b *testing.B, l *stream.Log) (*Service, time.Duration) {
	b.Helper()
	began := time.Now()
	s, err := Start(b.Context(), l, Config{Program: "bench", ClockFollowsEvents: true})
	if err != nil {
		b.Fatal(err)
	}
	if err := s.CaughtUp(b.Context()); err != nil {
		b.Fatal(err)
	}
	return s, time.Since(began)
}

// BenchmarkLogToAlarms folds a log of 100,000 vehicles (a tenth of them with -short)
// with three readings each, of which one in a hundred raises something for good, from the events to the transitions
// that are published and the records that are written. Its floor is reading the same
// log with the same consumers.
func BenchmarkLogToAlarms(b *testing.B) {
	const readings = 10
	vehicles := 100_000
	if testing.Short() {
		vehicles /= 10
	}
	for b.Loop() {
		l := benchServer(b)
		benchBook(b, l, bookText)
		fill(b, l, func(yield func(*nats.Msg) bool) {
			for i := range vehicles {
				if !yield(inMsg(b, vehicle(fmt.Sprintf("v-%06d", i)))) {
					return
				}
			}
			for n := range readings {
				for i := range vehicles {
					km := 5000 + float64(n)*30
					if day := 1 + i%2; i%200 < readings && n >= day {
						km += 1000 // due since that day
					}
					if !yield(inMsg(b, reading(fmt.Sprintf("v-%06d", i), n+1, km))) {
						return
					}
				}
			}
		})
		began := time.Now()
		events := counted(b, l, l.Events, feed.Subjects)
		floor := time.Since(began)
		began = time.Now()
		s, _ := ready(b, l)
		if err := s.Stop(); err != nil { // writes the records that still wait
			b.Fatal(err)
		}
		took := time.Since(began)
		said, err := l.Alarms.Info(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(float64(events)/took.Seconds(), "events/s")
		b.ReportMetric(float64(events)/floor.Seconds(), "read-only/s")
		b.ReportMetric(floor.Seconds()/took.Seconds(), "of-floor")
		b.ReportMetric(float64(said.State.Msgs), "messages")
	}
}

// BenchmarkPublishToAlarm sends a thousand readings a second, each of which raises
// something, to a server that syncs every write, and measures from the call that
// publishes one until its transition is read. Its floor is the same way with nothing
// folded: a message under the partition's fence for each event, on a server of its own.
func BenchmarkPublishToAlarm(b *testing.B) {
	const rate, seconds = 1000, 5
	const n = rate * seconds
	synced := func() *stream.Log {
		srv := servertest.Embed(b, b.TempDir())
		return benchLog(b, srv.Conn())
	}
	for b.Loop() {
		bare := synced()
		end := relay(b, bare)
		floor := raised(b, bare, n, rate)
		end()
		l := synced()
		benchBook(b, l, bookText)
		fill(b, l, func(yield func(*nats.Msg) bool) {
			for i := range n {
				name := fmt.Sprintf("v-%05d", i)
				if !yield(inMsg(b, vehicle(name))) || !yield(inMsg(b, reading(name, 1, 5000))) {
					return
				}
			}
		})
		s, _ := ready(b, l)
		took := raised(b, l, n, rate)
		b.ReportMetric(0, "ns/op")
		for name, took := range map[string][]time.Duration{"": took, "bare-": floor} {
			slices.Sort(took)
			b.ReportMetric(float64(took[n/2].Microseconds())/1000, name+"p50-ms")
			b.ReportMetric(float64(took[n*99/100].Microseconds())/1000, name+"p99-ms")
		}
		if err := s.Stop(); err != nil {
			b.Fatal(err)
		}
	}
}

// relay has each partition say of each event the same, until end is called.
func relay(b *testing.B, l *stream.Log) (end func()) {
	b.Helper()
	ctx, cancel := context.WithCancel(b.Context())
	var wg sync.WaitGroup
	for p := range stream.Partitions {
		f := l.Alarms.Fence(fmt.Sprintf("telltale.alarm.%d", p))
		if _, err := f.Latest(ctx); err != nil {
			b.Fatal(err)
		}
		msgs, _, err := l.Events.Read(ctx, 1, feed.Subjects(p)...)
		if err != nil {
			b.Fatal(err)
		}
		wg.Go(func() {
			for {
				select {
				case m := <-msgs:
					token := strings.Split(m.Subject(), ".")
					list, err := wire.Messages(1, 1, []engine.Output{{Transition: &alarm.Transition{
						Vehicle: token[3], Rule: "oil", Transition: "raised", From: "normal", To: "due", Standing: "unacknowledged", Message: strings.Repeat("due ", 100),
					}}})
					if err == nil {
						var msg *nats.Msg
						if msg, err = wire.AlarmMsg(list[0], start); err == nil {
							err = f.Publish(ctx, msg)
						}
					}
					if err != nil && ctx.Err() == nil {
						b.Error(err)
						return
					}
				case <-ctx.Done():
					return
				}
			}
		})
	}
	return func() { cancel(); wg.Wait() }
}

// raised has n vehicles report in the pace of rate a second what raises something, and
// measures how long each took to be said.
func raised(b *testing.B, l *stream.Log, n, rate int) (took []time.Duration) {
	b.Helper()
	from, err := l.LastOutput(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	var mu sync.Mutex
	sent := make([]time.Time, n)
	ctx, enough := context.WithTimeout(b.Context(), time.Minute)
	defer enough()
	heard := make(chan struct{})
	go func() {
		defer close(heard)
		_ = l.Outputs(ctx, from+1, func(m wire.Message) error { // ends when it has heard enough
			for _, o := range m.Outputs {
				var i int
				if o.Transition == nil {
					continue
				}
				if _, err := fmt.Sscanf(o.Transition.Vehicle, "v-%d", &i); err == nil {
					mu.Lock()
					took = append(took, time.Since(sent[i]))
					mu.Unlock()
				}
			}
			if len(took) == n {
				enough()
			}
			return nil
		})
	}()
	pace := time.NewTicker(time.Second / time.Duration(rate))
	defer pace.Stop()
	for i := range n {
		<-pace.C
		m := inMsg(b, reading(fmt.Sprintf("v-%05d", i), 2, 6050))
		mu.Lock()
		sent[i] = time.Now()
		mu.Unlock()
		if _, err := l.JS.PublishMsgAsync(m); err != nil {
			b.Fatal(err)
		}
	}
	<-heard
	if len(took) != n {
		b.Fatalf("%d of %d transitions came within a minute", len(took), n)
	}
	return took
}

// startRules are the eight tasks of BenchmarkStart's vehicles.
const startRules = `book: 1
units: {distance: km, volume: L}
tasks:
  a engine oil: {every: {distance: 20000 km, time: 12 months}, early: {distance: 1000 km, time: 14 days}, tolerance: 10%, unknown history: from first reading, cautions: [hot fluid]}
  b tyres: {every: {distance: 40000 km}, unknown history: from first reading, cautions: [raised vehicle]}
  c brakes: {every: {distance: 30000 km, time: 24 months}, unknown history: from first reading, cautions: [raised vehicle]}
  d coolant: {every: {time: 60 months}, unknown history: from first reading, cautions: [hot fluid]}
  e brake fluid: {every: {time: 24 months}, unknown history: from first reading, cautions: [brake hydraulics]}
  f annual test: {every: {time: 12 months}, unknown history: from first reading, cautions: [raised vehicle]}
  g belt: {every: {distance: 120000 km, time: 96 months}, unknown history: from first reading, cautions: [raised vehicle]}
  h filter: {every: {distance: 25000 km}, unknown history: from first reading, cautions: [dust]}
`

// BenchmarkStart brings a service up on the records of a million vehicles (a tenth of
// them with -short) with 8 tasks and 12 readings each, and measures the memory that the
// process then holds: when it is ready, and once every record has been asked for. Its
// floor is reading the same records and doing nothing with them.
func BenchmarkStart(b *testing.B) {
	vehicles := 1_000_000
	if testing.Short() {
		vehicles /= 10
	}
	l := benchServer(b)
	benchBook(b, l, startRules)
	record := storedRecord(b)
	fillRecords(b, l, record, vehicles)
	for b.Loop() {
		began := time.Now()
		if n := counted(b, l, l.State, func(p int) []string { return []string{wire.RecordSubject(p, "*")} }); n != vehicles {
			b.Fatalf("%d records", n)
		}
		floor := time.Since(began)
		s, took := ready(b, l)
		atStart := heap()
		began = time.Now()
		for _, w := range s.here() {
			w.mu.Lock()
			w.fold.Unpack(vehicles)
			w.mu.Unlock()
		}
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(took.Seconds(), "s")
		b.ReportMetric(floor.Seconds(), "floor-s")
		b.ReportMetric(took.Seconds()/floor.Seconds(), "times-floor")
		b.ReportMetric(time.Since(began).Seconds(), "unpack-s")
		b.ReportMetric(float64(atStart)/float64(vehicles), "B/vehicle-at-start")
		b.ReportMetric(float64(heap())/float64(vehicles), "B/vehicle")
		b.ReportMetric(float64(len(record)), "B/record")
		if err := s.Stop(); err != nil {
			b.Fatal(err)
		}
	}
}

// fillRecords stores the record for so many vehicles, and checkpoints that count them.
func fillRecords(b *testing.B, l *stream.Log, record string, vehicles int) {
	b.Helper()
	var count [stream.Partitions]int
	fill(b, l, func(yield func(*nats.Msg) bool) {
		for i := range vehicles {
			name := fmt.Sprintf("v-%06d", i)
			p := stream.Partition(name)
			count[p]++
			if !yield(wire.RecordMsg(wire.RecordSubject(p, name), wire.Position{Epoch: 1, Seq: 1, Born: 1}, []byte(strings.ReplaceAll(record, "v-000000", name)))) {
				return
			}
		}
	})
	placeCheckpoints(b, l, count)
}

func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// storedRecord is the record of vehicle v-000000 as it is stored: read weekly, twelve
// times.
func storedRecord(b *testing.B) string {
	b.Helper()
	book, err := rules.Load([]rules.File{{Name: "oil.yaml", Text: []byte(startRules)}})
	if err != nil {
		b.Fatal(err)
	}
	p := engine.NewPartition()
	p.Apply(event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: book.Hash, Book: book}})
	p.Apply(vehicle("v-000000"))
	for n := range 12 {
		at := start.AddDate(0, 0, 7*n)
		p.Apply(event.Event{Kind: event.TickEvent, Time: at})
		for _, o := range p.Apply(reading("v-000000", 7*n, 5000+350*float64(n))) {
			if o.Refused != nil {
				b.Fatal(o.Refused.Refused)
			}
		}
	}
	text, err := p.Encode("v-000000")
	if err != nil {
		b.Fatal(err)
	}
	return string(text)
}

// placeCheckpoints writes that all partitions stand at the first event of the log.
func placeCheckpoints(b *testing.B, l *stream.Log, records [stream.Partitions]int) {
	b.Helper()
	m, err := l.Events.Get(b.Context(), 1)
	if err != nil {
		b.Fatal(err)
	}
	book, err := l.BookInForce(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	fill(b, l, func(yield func(*nats.Msg) bool) {
		for p, n := range records {
			c := wire.Checkpoint{Format: wire.Format, Epoch: 1, Seq: 1, Digest: wire.DigestOf(m.Subject, m.Data), Created: l.Events.S.CachedInfo().Created, Book: book,
				Tick: start.AddDate(0, 0, 7*11), Records: n}
			data, err := wire.Marshal(c)
			if err != nil {
				b.Fatal(err)
			}
			if !yield(&nats.Msg{Subject: wire.CheckpointSubject(p), Data: data}) {
				return
			}
		}
	})
}
