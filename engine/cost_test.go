package engine

import (
	"fmt"
	"runtime"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/engine/record"
	"telltale/rules"
)

const costRules = `
book: 1
units: {distance: km, volume: L}
tasks:
  a engine oil: {every: {distance: 20000 km, time: 12 months}, early: {distance: 1000 km, time: 14 days}, tolerance: 10%, unknown history: from first reading, cautions: [hot fluid]}
  b tyres: {every: {distance: 40000 km}, early: {distance: 1000 km}, unknown history: from first reading, cautions: [raised vehicle]}
  c brakes: {every: {distance: 30000 km, time: 24 months}, early: {distance: 1000 km, time: 14 days}, unknown history: from first reading, cautions: [raised vehicle]}
  d coolant: {every: {time: 60 months}, unknown history: from in-service date, cautions: [hot fluid]}
  e brake fluid: {every: {time: 24 months}, early: {time: 30 days}, unknown history: from in-service date, cautions: [brakes]}
  f annual test: {every: {time: 12 months}, early: {time: 30 days}, unknown history: from in-service date, statutory: yes, cautions: [raised vehicle]}
  g belt: {every: {distance: 120000 km, time: 96 months}, early: {distance: 5000 km}, unknown history: from first reading, cautions: [moving parts]}
  h filter: {every: {distance: 25000 km}, early: {distance: 500 km}, unknown history: from first reading, cautions: [dust]}
`

var costStart = time.Date(2031, 3, 1, 6, 0, 0, 0, time.UTC)

// costVehicle is a partition with one vehicle under 8 tasks, read weekly 12 times.
func costVehicle(tb testing.TB) *Partition {
	tb.Helper()
	book, err := rules.Load([]rules.File{{Name: "cost.yaml", Text: []byte(costRules)}})
	if err != nil {
		tb.Fatal(err)
	}
	p := NewPartition()
	p.Apply(event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: book.Hash, Book: book}})
	fold := func(ev event.Event) {
		ev.ID.Source, ev.Recorded = "/gateway/3", ev.Time
		for _, o := range p.Apply(ev) {
			if o.Refused != nil {
				tb.Fatal(o.Refused.Refused)
			}
		}
	}
	first := costStart.AddDate(0, 0, -12*7)
	p.Apply(event.Event{Kind: event.TickEvent, Time: first})
	fold(event.Event{Kind: event.VehicleEvent, ID: event.ID{ID: "v"}, Vehicle: "van", Time: first.AddDate(0, 0, -1), Data: &event.VehicleData{Name: "Van", Kind: "van", InService: "2030-09-09",
		Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}, Components: []event.ComponentDef{{Name: "engine", Kind: "diesel engine"}}}})
	for i := range 12 {
		at := first.AddDate(0, 0, 7*i)
		p.Apply(event.Event{Kind: event.TickEvent, Time: at})
		fold(costReading("van", at, 40000+float64(i)*350, i))
	}
	p.Apply(event.Event{Kind: event.TickEvent, Time: costStart})
	if r := p.records["van"]; r.quiet == nil || len(r.Alarms) > 0 {
		tb.Fatalf("the vehicle is not quiet: %+v", r.Alarms)
	}
	return p
}

func costReading(vehicle string, at time.Time, km float64, i int) event.Event {
	return event.Event{ID: event.ID{Source: "/gateway/3", ID: fmt.Sprintf("r-%08d", i)}, Kind: event.ReadingEvent, Vehicle: vehicle, Time: at, Recorded: at,
		Digest: uint64(i), Data: &event.ReadingData{Meter: "odometer", Value: km, Unit: "km"}}
}

// BenchmarkReading folds readings that append to a healthy chain and cross
// nothing, one an hour at 50 km a day, and a tick each day. The share that had to
// be judged all the same is reported; what they cost, and the ticks, is counted.
func BenchmarkReading(b *testing.B) {
	const round = 1000 // before the first task comes near
	p := costVehicle(b)
	whole, readings := *p.records["van"], 0
	events := make([]event.Event, 0, round+round/24)
	for i := range round {
		at := costStart.Add(time.Duration(i+1) * time.Hour)
		if i%24 == 0 {
			events = append(events, event.Event{Kind: event.TickEvent, Time: at})
		}
		events = append(events, costReading("van", at, 43860+float64(i)*50/24, 100+i))
	}
	b.ReportAllocs()
	for b.Loop() {
		if readings%len(events) == 0 {
			b.StopTimer()
			p.records["van"], p.law.Now = &whole, costStart
			p.records["van"] = copyOf(&whole, "van", false)
			b.StartTimer()
		}
		if out := p.Apply(events[readings%len(events)]); len(out) > 0 {
			b.Fatalf("event %d said %+v", readings%len(events), out[0])
		}
		readings++
	}
	b.ReportMetric(100*(1-float64(p.quietly)/float64(readings)), "%judged-or-tick")
}

// BenchmarkTick is a day's tick over fleets of two sizes in which the same 1,000
// vehicles have a stage that changes, and the memory that a vehicle takes with 8
// tasks and 12 readings.
func BenchmarkTick(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmarkTick(b, n) })
	}
}

func benchmarkTick(b *testing.B, vehicles int) {
	const changing = 1000
	one := costVehicle(b)
	p := NewPartition()
	p.Restore(one.law.Now, one.law.Book)
	before := heapInUse()
	each := 0.0
	for i := range vehicles {
		p.put(copyOf(one.records["van"], fmt.Sprintf("van-%07d", i), i%(vehicles/changing) == 0))
	}
	each = float64(heapInUse()-before) / float64(vehicles)
	tick := event.Event{Kind: event.TickEvent, Time: costStart.AddDate(0, 0, 1)}
	for b.Loop() {
		out := p.tick(tick)
		b.StopTimer()
		if len(out) != changing {
			b.Fatalf("%d transitions, want %d", len(out), changing)
		}
		for i := 0; i < vehicles; i += vehicles / changing { // as they were
			p.slots.forget(p.records[fmt.Sprintf("van-%07d", i)])
			p.put(copyOf(one.records["van"], fmt.Sprintf("van-%07d", i), true))
		}
		clear(p.changed)
		p.law.Now = one.law.Now
		b.StartTimer()
	}
	b.ReportMetric(each, "B/vehicle")
}

func (p *Partition) put(r *vehicle) {
	p.records[r.Vehicle] = r
	p.slots.schedule(r)
}

// copyOf is the vehicle again, with facts and words of its own, but with the meters
// and components that all of them have; one that changes went into service on such a
// day that its test is soon from tomorrow.
func copyOf(r *vehicle, name string, changes bool) *vehicle {
	c := *r
	c.Vehicle, c.slot = name, nil
	reg := *r.Register[0].VehicleData
	reg.Name = "The " + name
	if changes {
		reg.InService = "2030-04-01"
		c.Next = costStart.Unix() + 18*3600
	}
	c.Register = []record.Registration{{Stamp: r.Register[0].Stamp, VehicleData: &reg}}
	m := r.Meters[0]
	readings := make([]record.Reading, len(m.Readings), cap(m.Readings))
	copy(readings, m.Readings)
	for i := range readings {
		readings[i].ID.ID = fmt.Sprintf("r-%08d", i)
	}
	m.Readings = readings
	c.Meters = []record.MeterLog{m}
	q := *r.quiet
	q.meters = append(q.one[:0], r.quiet.meters...)
	c.quiet = &q
	return &c
}

func heapInUse() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}
