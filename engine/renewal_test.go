package engine_test

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/intake"
	"telltale/testdata/buses"
)

const renewalRules = `
book: 1
units: {distance: mi}
tasks:
  engine renewal:
    every: {distance: 1000 mi}
    unknown history: from in-service date
    cautions: [heavy parts]
`

// TestEngineRenewals: how far 126 city buses ran from one engine to the next, as the
// due point has it from the day of first use and from each renewal. Counts, means,
// standard deviations, least and greatest are those of table IIa of J. Rust,
// Econometrica 55 (1987), in miles; of groups 5 and 6 it was read for the counts alone.
func TestEngineRenewals(t *testing.T) {
	runs := map[string][]float64{}
	seen := map[string]bool{}
	for _, row := range buses.Rows(t) {
		if bus := row["group"] + "-" + row["file"] + "-" + row["bus_id"]; !seen[bus] {
			seen[bus] = true
			runs[row["group"]] = append(runs[row["group"]], renewals(t, bus, row)...)
		}
	}
	if len(seen) != 126 {
		t.Errorf("%d buses, want 126", len(seen))
	}
	for group, want := range map[string]string{
		"1": "0", "2": "0", "3": "27 mean 199733 sd 37459 min 124800 max 273400",
		"4": "33 mean 257336 sd 65477 min 121300 max 387300", "5": "11", "6": "7",
	} {
		got := fmt.Sprint(len(runs[group]))
		if group == "3" || group == "4" {
			mean, sd := stat.MeanStdDev(runs[group], nil)
			got += fmt.Sprintf(" mean %.0f sd %.0f min %.0f max %.0f", mean, sd, slices.Min(runs[group]), slices.Max(runs[group]))
		}
		if got != want {
			t.Errorf("group %s: got %s, want %s", group, got, want)
		}
	}
}

// renewals are the miles that a bus had run on each engine when it was renewed: the
// interval, and how far past it the due list has the vehicle.
func renewals(t *testing.T, bus string, row map[string]string) (miles []float64) {
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, renewalRules)))
	p.Apply(short(t, "v", "1970-01-01T01:00 vehicle "+bus+" bus meter odometer since 1970-01-01"))
	for n := 1; n <= 2; n++ {
		month, year, odo := row[fmt.Sprintf("repl%d_month", n)], row[fmt.Sprintf("repl%d_year", n)], row[fmt.Sprintf("repl%d_odo", n)]
		if odo == "0" {
			continue
		}
		m, err := strconv.Atoi(month)
		if err != nil {
			t.Fatal(err)
		}
		on := fmt.Sprintf("19%s-%02d-", year, m)
		at, err := time.Parse(time.DateOnly, on+"02")
		if err != nil {
			t.Fatal(err)
		}
		p.Apply(intake.Tick(at))
		p.Apply(short(t, "r"+odo, on+"01 reading "+bus+" odometer "+odo+" mi"))
		for _, d := range p.Due(due.Query{}) {
			if d.PastBy != nil {
				miles = append(miles, math.Round(1000+*d.PastBy/1609.344))
			}
		}
		p.Apply(short(t, "s"+odo, on+`02 service `+bus+` "engine renewal" odometer `+odo+" mi"))
	}
	return miles
}
