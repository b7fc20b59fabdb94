package service

import (
	"fmt"
	"testing"

	"telltale/notify"
)

// BenchmarkListPageOfTheirs asks a service with 20,000 vehicles, as BenchmarkListPage has them, for
// pages, counts and searches: for one who sees all, one who sees half of the vehicles and one who
// sees a hundredth. The first question of each has it asked of every vehicle whether it may be
// seen. Its aims are those of BenchmarkListPage.
func BenchmarkListPageOfTheirs(b *testing.B) {
	const vehicles = 20_000
	l := benchServer(b)
	benchBook(b, l, startRules)
	fillFleet(b, l, vehicles)
	for b.Loop() {
		s, err := Start(b.Context(), l, Config{Program: "bench", ClockFollowsEvents: true, Sees: notify.Sees})
		if err == nil {
			err = s.CaughtUp(b.Context())
		}
		if err != nil {
			b.Fatal(err)
		}
		firstPage(b, s, Question{}) // reads the records
		for _, who := range []struct {
			name, sees string
			total      int
		}{
			{"all", "", vehicles},
			{"half", `[{"where":"vehicle.tags[\"depot\"] < \"d-50\""}]`, vehicles / 2},
			{"hundredth", `[{"where":"vehicle.tags[\"depot\"] == \"d-07\""},{"own":"maud"}]`, vehicles / 100},
		} {
			q := Question{Sees: who.sees}
			aim(b, who.name+"-first", 250, times(1, func(int) {
				if page, err := Vehicles.Of(b.Context(), s, q); err != nil || page.Total != who.total {
					b.Fatalf("%s has %d vehicles (%v)", who.name, page.Total, err)
				}
			}))
			aim(b, who.name+"-page", 50, times(60, func(i int) {
				q := pageQuestion(2 * (i % 2))
				q.Sees = who.sees
				if _, err := Lines.Of(b.Context(), s, q); err != nil {
					b.Fatal(err)
				}
			}))
			aim(b, who.name+"-counts", 50, times(60, func(int) {
				if _, err := Counts.Of(b.Context(), s, q); err != nil {
					b.Fatal(err)
				}
			}))
			aim(b, who.name+"-search", 30, times(60, func(i int) {
				q := Question{Sees: who.sees, Listing: Listing{Q: fmt.Sprintf("bus %d", 1000+137*i)}}
				if _, err := Vehicles.Of(b.Context(), s, q); err != nil {
					b.Fatal(err)
				}
			}))
		}
		b.ReportMetric(0, "ns/op")
		if err := s.Stop(); err != nil {
			b.Fatal(err)
		}
	}
}
