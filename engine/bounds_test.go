package engine_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/record"
	"telltale/rules/unit"
)

// A flood's events: of the first, mixed in number, every kind; then readings, of which
// those of two lots are compared. It is no longer than fills all lists, but in CI.
var floodEvents, mixed, lot = 8_000, 6_000, 1_000

func init() {
	switch {
	case os.Getenv("TELLTALE_NIGHTLY") != "":
		floodEvents, mixed, lot = 1_000_000, 10_000, 5_000
	case os.Getenv("TELLTALE_CI") == "1":
		floodEvents, mixed, lot = 20_000, 10_000, 5_000
	default: // of each property 100 examples are drawn in CI, and 30 elsewhere
		if err := flag.Set("rapid.checks", "30"); err != nil {
			panic(err)
		}
	}
}

// flood is the n-th event of one vehicle, a few minutes after the one before.
func flood(n int) event.Event {
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(n) * 7 * time.Minute)
	ev := event.Event{ID: event.ID{Source: "/gateway/flood", ID: fmt.Sprint(n)}, Vehicle: "van-1", Time: at, Recorded: at, Digest: uint64(n) + 1}
	km := unit.Quantity{Value: 50_000 + float64(n)*0.5, Unit: "km"}
	what := n % 40
	if n >= mixed {
		what = 0
	}
	switch what {
	case 1:
		ev.Kind, ev.Data = event.ServiceEvent, &event.ServiceData{Tasks: []string{"engine oil", "coolant"}[n/40%2 : n/40%2+1], By: "workshop", Meters: map[string]unit.Quantity{"odometer": km}}
	case 2:
		fe := float64(20 + n/40%90)
		ev.Kind, ev.Data = event.SampleEvent, &event.SampleData{Number: ev.ID.ID, Component: "motor", Results: []event.ResultData{{Analyte: "Fe", Value: &fe, Unit: "mg/kg"}}}
	case 3, 6:
		ev.Kind, ev.Data = event.VoidEvent, &event.VoidData{Source: ev.ID.Source, ID: fmt.Sprint(n - 50)}
	case 4:
		ev.Kind, ev.Data = event.AnswerEvent, &event.AnswerData{Answer: "acknowledge", Rule: "engine oil", By: "ines"}
	case 5:
		ev.Kind, ev.Data = event.AnswerEvent, &event.AnswerData{Answer: "postpone", Task: "coolant", Until: at.AddDate(0, 1, 0).Format(time.DateOnly), By: "ines", Why: "no bay"}
	case 7:
		ev.Kind, ev.Data = event.ReadingEvent, &event.ReadingData{Meter: "odometer", Value: km.Value, Unit: "km", ToppedUp: &unit.Quantity{Value: 0.2, Unit: "L"}}
	default:
		ev.Kind, ev.Data = event.ReadingEvent, &event.ReadingData{Meter: "odometer", Value: km.Value, Unit: "km"}
	}
	return ev
}

// TestMillionEvents floods one vehicle: its record stays within its bounds, and the
// last readings cost what the first ones did once the lists were full. There are a
// million events with TELLTALE_NIGHTLY, 20,000 in CI and 8,000 elsewhere.
func TestMillionEvents(t *testing.T) {
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, orderRules)))
	p.Apply(intake.Tick(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)))
	p.Apply(short(t, "v", `2030-12-31 vehicle van-1 van meter odometer since 2029-03-01 component motor engine fluid oil capacity 6L`))
	var early, late float64
	for from := 0; from < floodEvents; from += lot {
		late = allocated(func() {
			for n := from; n < from+lot; n++ {
				p.Apply(flood(n))
			}
			p.Changed()
		})
		if from == mixed {
			early = late
		}
	}
	if late > 1.3*early {
		t.Errorf("the last %d readings allocated %.0f bytes, the first ones %.0f", lot, late, early)
	}
	b, err := p.Encode("van-1")
	if err != nil {
		t.Fatal(err)
	}
	var r record.Record
	if err := json.Unmarshal(b, &r); err != nil {
		t.Fatal(err)
	}
	t.Logf("the record has %d bytes", len(b))
	for _, tt := range []struct {
		what           string
		n, least, most int
	}{
		{"readings", len(r.Meters[0].Readings), 20, 64}, {"services and top-ups", len(r.Services), 2 * 96, 2*96 + 2*3}, {"samples", len(r.Samples), 50, 50},
		{"voids", len(r.Voids), 256, 256}, {"answers", len(r.Answers), 0, 128}, {"postponements", len(r.Postponed), 32, 32},
	} {
		if tt.n < tt.least || tt.n > tt.most {
			t.Errorf("the record has %d %s, want %d to %d", tt.n, tt.what, tt.least, tt.most)
		}
	}
	if len(b) > 128<<10 {
		t.Errorf("the record has %d bytes, want at most 128 KiB", len(b))
	}
}

// allocated is how many bytes f allocates.
func allocated(f func()) float64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return float64(after.TotalAlloc - before.TotalAlloc)
}
