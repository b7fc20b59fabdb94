package service

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/listing"
	"telltale/engine/stream"
	"telltale/engine/stream/wire"
	"telltale/rules"
)

// BenchmarkListPage asks a service with 100,000 vehicles (a tenth of them with -short), of
// which every fourth is overdue for something, for pages of lists: first pages of 50, pages
// behind them, and searches; then, while four lists of the whole fleet are reckoned over and
// over, all that the page of one vehicle asks, and how long a reading waits to be folded. Its
// aims are 50 ms, 30 ms for a search, 20 ms for a vehicle, and 20 ms more than while nobody
// asks for a reading; a run that is slower in 19 of 20 fails.
func BenchmarkListPage(b *testing.B) {
	vehicles := 100_000
	if testing.Short() {
		vehicles /= 10
	}
	l := benchServer(b)
	benchBook(b, l, startRules)
	fillFleet(b, l, vehicles)
	for b.Loop() {
		s, took := ready(b, l)
		b.ReportMetric(took.Seconds(), "ready-s")
		began := time.Now()
		firstPage(b, s, Question{}) // reads the records
		b.ReportMetric(time.Since(began).Seconds(), "first-question-s")
		b.ReportMetric(float64(heap())/float64(vehicles), "B/vehicle")
		b.ReportMetric(0, "ns/op")
		aim(b, "page", 50, times(60, func(i int) { firstPage(b, s, pageQuestion(i)) }))
		aim(b, "search", 30, times(60, func(i int) {
			q := Question{Listing: Listing{Q: fmt.Sprintf("bus %d", 1000+137*i)}}
			if page, err := Vehicles.Of(b.Context(), s, q); err != nil || page.Total == 0 {
				b.Fatalf("%+v: %d found (%v)", q.Q, page.Total, err)
			}
		}))
		idle := times(100, func(i int) { foldOne(b, l, s, i) })
		_, began = fleetList(b, s, 0), time.Now()
		fleetList(b, s, 1)
		b.ReportMetric(time.Since(began).Seconds(), "fleet-list-s")
		end := fourLists(b, s)
		aim(b, "records-of-one", 20, times(200, func(i int) { recordsOfOne(b, s, fmt.Sprintf("v-%06d", (i*7919)%vehicles)) }))
		aim(b, "vehicle", 20, times(200, func(i int) { oneVehicle(b, s, fmt.Sprintf("v-%06d", (i*7919)%vehicles)) }))
		aim(b, "page-beside", 50, times(60, func(i int) { firstPage(b, s, pageQuestion(i)) }))
		busy := times(100, func(i int) { foldOne(b, l, s, 1000+i) })
		lists := end()
		b.ReportMetric(float64(lists), "lists-meanwhile")
		b.Logf("%d lists of the fleet meanwhile; a reading is folded within %.1f ms in 19 of 20 while nobody asks", lists, ms(idle[len(idle)*95/100]))
		b.ReportMetric(ms(idle[len(idle)/2]), "fold-idle-p50-ms")
		b.ReportMetric(ms(idle[len(idle)*95/100]), "fold-idle-p95-ms")
		for i := range busy {
			busy[i] -= idle[len(idle)/2]
		}
		aim(b, "fold-more", 20, busy)
		if err := s.Stop(); err != nil {
			b.Fatal(err)
		}
	}
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// times is how long each of n runs took, in order of duration.
func times(n int, run func(i int)) (took []time.Duration) {
	for i := range n {
		began := time.Now()
		run(i)
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	return took
}

func aim(b *testing.B, what string, most float64, took []time.Duration) {
	b.Helper()
	p95 := ms(took[len(took)*95/100])
	b.Logf("%s: half within %.1f ms, 19 of 20 within %.1f, all within %.1f", what, ms(took[len(took)/2]), p95, ms(took[len(took)-1]))
	b.ReportMetric(ms(took[len(took)/2]), what+"-p50-ms")
	b.ReportMetric(p95, what+"-p95-ms")
	b.ReportMetric(ms(took[len(took)-1]), what+"-worst-ms")
	if p95 > most {
		b.Errorf("%s: %.1f ms in 19 of 20, more than %.0f", what, p95, most)
	}
}

// pageQuestion is one of the pages that people open.
func pageQuestion(i int) Question {
	q := Question{Listing: Listing{View: listing.Due, Limit: 50}}
	switch i % 4 {
	case 1:
		q.Tag = fmt.Sprintf("depot=d-%02d", i)
	case 2:
		q.View = listing.Standing
	case 3:
		q.Q = fmt.Sprintf("bus %d tyres", i)
	}
	return q
}

func firstPage(b *testing.B, s *Service, q Question) {
	b.Helper()
	if q.View == "" {
		q.View = listing.Due
	}
	page, err := Lines.Of(b.Context(), s, q)
	if err != nil || q.View == listing.Due && q.Q == "" && q.Tag == "" && (len(page.Lines) != 50 || page.Lines[0].Due == nil) {
		b.Fatalf("%d lines of %d (%v)", len(page.Lines), page.Total, err)
	}
}

// oneVehicle asks what a vehicle's page asks.
func oneVehicle(b *testing.B, s *Service, vehicle string) {
	b.Helper()
	q := Question{Vehicle: vehicle, Units: []string{}}
	if list, err := Vehicle.Of(b.Context(), s, q); err != nil || len(list) != 1 || len(list[0].Tasks) == 0 || len(list[0].Meters) == 0 {
		b.Fatalf("%+v (%v)", list, err)
	}
	if list, err := History.Of(b.Context(), s, q); err != nil || len(list) == 0 {
		b.Fatalf("%d entries (%v)", len(list), err)
	}
	if _, err := s.RegisteredAs(b.Context(), vehicle); err != nil {
		b.Fatal(err)
	}
}

// recordsOfOne asks what of that comes from the records, and nothing that is read from the log.
func recordsOfOne(b *testing.B, s *Service, vehicle string) {
	b.Helper()
	q := Question{Vehicle: vehicle, Units: []string{}}
	if list, err := Vehicle.Of(b.Context(), s, q); err != nil || len(list) != 1 {
		b.Fatalf("%+v (%v)", list, err)
	}
	if _, err := Alarms.Of(b.Context(), s, q); err != nil {
		b.Fatal(err)
	}
	if list, err := Why.Of(b.Context(), s, q); err != nil || len(list) == 0 {
		b.Fatalf("%d reasons (%v)", len(list), err)
	}
}

// foldOne sends a reading of the day after the last and waits until it is folded.
func foldOne(b *testing.B, l *stream.Log, s *Service, i int) {
	b.Helper()
	name := fmt.Sprintf("v-%06d", i)
	ack, err := l.JS.PublishMsg(b.Context(), inMsg(b, reading(name, 78, 20000)))
	if err != nil {
		b.Fatal(err)
	}
	if err := s.reached(b.Context(), stream.Partition(name), ack.Sequence); err != nil {
		b.Fatal(err)
	}
}

// fleetList reckons one of the four lists of the whole fleet.
func fleetList(b *testing.B, s *Service, i int) int {
	ctx := b.Context()
	var n int
	var err error
	switch i % 4 {
	case 0:
		n, err = length(Due.Of(ctx, s, Question{Ahead: i}))
	case 1:
		n, err = length(Due.Of(ctx, s, Question{Ahead: 30 + i}))
	case 2:
		n, err = length(Alarms.Of(ctx, s, Question{}))
	case 3:
		n, err = length(Register.Of(ctx, s, Question{}))
	}
	if err != nil || n == 0 {
		b.Errorf("list %d has %d lines (%v)", i, n, err)
	}
	return n
}

func length[T any](list []T, err error) (int, error) { return len(list), err }

// fourLists has four who ask for lists of the fleet, each for the next as soon as it has
// one, until end is called, which says how many there were.
func fourLists(b *testing.B, s *Service) (end func() int) {
	b.Helper()
	ctx, cancel := context.WithCancel(b.Context())
	var wg sync.WaitGroup
	var mu sync.Mutex
	n := 0
	for i := range 4 {
		wg.Go(func() {
			for k := i; ctx.Err() == nil; k += 4 {
				fleetList(b, s, k)
				mu.Lock()
				n++
				mu.Unlock()
			}
		})
	}
	runtime.Gosched()
	return func() int { cancel(); wg.Wait(); return n }
}

// fillFleet stores the records of so many vehicles, every fourth of them overdue, of a
// hundred depots.
func fillFleet(b *testing.B, l *stream.Log, vehicles int) {
	b.Helper()
	kinds := []string{tagged(b, 21500), tagged(b, 350), tagged(b, 400), tagged(b, 450)}
	var count [stream.Partitions]int
	fill(b, l, func(yield func(*nats.Msg) bool) {
		for i := range vehicles {
			name := fmt.Sprintf("v-%06d", i)
			p := stream.Partition(name)
			count[p]++
			text := strings.NewReplacer("v-000000", name, "Bus 000000", fmt.Sprintf("Bus %06d", i), "d-00", fmt.Sprintf("d-%02d", i%100)).Replace(kinds[i%4])
			if !yield(wire.RecordMsg(wire.RecordSubject(p, name), wire.Position{Epoch: 1, Seq: 1, Born: 1}, []byte(text))) {
				return
			}
		}
	})
	placeCheckpoints(b, l, count)
}

// tagged is the record of vehicle v-000000 in depot d-00 as it is stored, read weekly twelve
// times, so far a time.
func tagged(b *testing.B, weekly float64) string {
	b.Helper()
	book, err := rules.Load([]rules.File{{Name: "oil.yaml", Text: []byte(startRules)}})
	if err != nil {
		b.Fatal(err)
	}
	p := engine.NewPartition()
	p.Apply(event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: book.Hash, Book: book}})
	ev := vehicle("v-000000")
	d := ev.Data.(*event.VehicleData)
	d.Name, d.Tags = "Bus 000000", map[string]string{"depot": "d-00"}
	ev = intake.Renamed(ev)
	p.Apply(ev)
	for n := range 12 {
		at := start.AddDate(0, 0, 7*n)
		p.Apply(event.Event{Kind: event.TickEvent, Time: at})
		for _, o := range p.Apply(reading("v-000000", 7*n, 5000+weekly*float64(n))) {
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
