package engine_test

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/listing"
)

// BenchmarkLists measures what the lists of a partition of 20,000 vehicles take, of which
// every fourth has one task overdue, and what a page, the count of a depot and a search cost
// there. Its aim is 200 bytes a vehicle: 20 MiB for a fleet of 100,000.
func BenchmarkLists(b *testing.B) {
	const vehicles = 20_000
	p := engine.NewPartition()
	p.Apply(bookEvent(load(b, dueRules)))
	p.Apply(intake.Tick(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)))
	for i, line := range []string{
		`2031-01-02 vehicle van-00000 van meter odometer tag depot=d-00 since 2030-12-20`,
		`2031-01-03 service van-00000 "engine oil" odometer 40000`,
		`2031-01-04 service van-00000 "wash"`,
		`2031-01-05 reading van-00000 odometer 40100`,
	} {
		p.Apply(short(b, fmt.Sprint(i), line))
	}
	fine := encode(b, p)
	p.Apply(short(b, "over", `2031-01-20 reading van-00000 odometer 51000`))
	over := encode(b, p)
	fleet := engine.NewPartition()
	fleet.Restore(p.Now(), p.Book())
	for i := range vehicles {
		text := fine
		if i%4 == 0 {
			text = over
		}
		name := fmt.Sprintf("van-%05d", i)
		if err := fleet.Load(name, []byte(strings.NewReplacer("van-00000", name, "d-00", fmt.Sprintf("d-%02d", i%100)).Replace(text))); err != nil {
			b.Fatal(err)
		}
	}
	fleet.Unpack(vehicles + 1)
	due := fleet.AskedBy(fleet.By).Part(listing.Query{View: listing.Due})
	if due.Counts.Total != vehicles/4 {
		b.Fatalf("%d of %d", due.Counts.Total, vehicles/4)
	}
	for name, ask := range map[string]func(){
		"page":   func() { fleet.AskedBy(fleet.By).Part(listing.Query{View: listing.Due, Tag: "depot=d-08"}) },
		"words":  func() { fleet.AskedBy(fleet.By).Part(listing.Query{View: listing.Due, Q: "van-1 oil"}) },
		"search": func() { fleet.AskedBy(fleet.By).VehiclePart(listing.VehicleQuery{Q: "van-1 d-08"}) },
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				ask()
			}
		})
	}
	with := heapNow()
	fleet.DropLists()
	each := float64(with-heapNow()) / vehicles
	runtime.KeepAlive(fleet)
	b.Run("memory", func(b *testing.B) {
		b.ReportMetric(0, "ns/op")
		b.ReportMetric(each, "B/vehicle")
		if each > 200 {
			b.Errorf("the lists take %.0f B a vehicle, more than 200", each)
		}
	})
}

func heapNow() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

func encode(b *testing.B, p *engine.Partition) string {
	b.Helper()
	text, err := p.Encode("van-00000")
	if err != nil {
		b.Fatal(err)
	}
	return string(text)
}
