package engine_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
	"telltale/rules/unit"
)

func load(tb testing.TB, text string) *rules.Book {
	tb.Helper()
	b, err := rules.Load([]rules.File{{Name: "test.yaml", Text: []byte(text)}})
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

func short(tb testing.TB, id, line string) event.Event {
	tb.Helper()
	ev, err := intake.Short(line, id, unit.System{Distance: "km", Volume: "L"})
	if err != nil {
		tb.Fatalf("%s: %v", line, err)
	}
	return ev
}

// TestPanicIsRefused: an event whose folding panics changes nothing and stops nobody.
func TestPanicIsRefused(t *testing.T) {
	p := engine.NewPartition()
	p.Apply(bookEvent(load(t, orderRules)))
	p.Apply(short(t, "v", `2031-01-02 vehicle van-1 van meter odometer component motor engine`))
	p.Apply(short(t, "r", `2031-01-03 reading van-1 odometer 100`))
	before := p.Describe("van-1")
	bad := short(t, "s", `2031-01-04 sample van-1 motor Fe 10`)
	bad.Data = (*event.SampleData)(nil)
	out := p.Apply(bad)
	if len(out) != 1 || out[0].Refused == nil {
		t.Fatalf("a panic gave %+v, want one refusal", out)
	}
	if after := p.Describe("van-1"); after != before {
		t.Errorf("the record changed:\n%s\n%s", before, after)
	}
	for _, o := range p.Apply(short(t, "r2", `2031-01-05 reading van-1 odometer 200`)) {
		if o.NotJudged == nil {
			t.Errorf("the next reading gave %+v", o)
		}
	}
}

// TestStoredRecordGoesOn: a record that was stored and loaded folds on exactly as
// one that was not.
func TestStoredRecordGoesOn(t *testing.T) {
	book := load(t, orderRules)
	a := engine.NewPartition()
	a.Apply(bookEvent(book))
	lines := []string{
		`2031-01-02 vehicle van-1 van meter odometer since 2029-03-01 component motor engine fluid oil capacity 6L`,
		`2031-01-03 service van-1 "engine oil" odometer 50000`,
		`2031-02-03 sample van-1 motor odometer 51000 age 1000km Fe 100 Cu 10`,
		`2031-03-03 sample van-1 motor odometer 53000 age 3000km Fe 130 Cu <20`,
		`2031-03-13 service van-1 "engine oil" on motor odometer 54000 filled 3L`,
		`2031-04-03 sample van-1 motor odometer 54100 age 100km Fe 60 Cu 12`,
		`2031-05-03 reading van-1 odometer 62500`,
		`2031-06-03 reading van-1 odometer 66000`,
	}
	for i, line := range lines {
		b := engine.NewPartition()
		b.Restore(a.Now(), book)
		b.Resume(a.Resumed())
		if i > 0 {
			rec, err := a.Encode("van-1")
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Load("van-1", rec); err != nil {
				t.Fatal(err)
			}
		}
		tick := intake.Tick(time.Date(2031, 1, 1+i*20, 0, 0, 0, 0, time.UTC))
		for _, ev := range []event.Event{tick, short(t, fmt.Sprint(i), line)} {
			one, two := describe(a.Apply(ev)), describe(b.Apply(ev))
			if one != two {
				t.Errorf("%s:\nkept:   %s\nloaded: %s", line, one, two)
			}
		}
	}
}

func describe(out []engine.Output) string {
	text, err := json.Marshal(out)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// foldRules are the book of BenchmarkFold; the measured figure is of these.
const foldRules = `
book: 1
units: {distance: km, volume: L}
baselines:
  oil:
    where: component.kind == "engine"
    fluid age: 10000 km
    source: invented
    mean: {Fe: 40, Cu: 10}
    fresh: {P: 900}
tasks:
  engine oil:
    every: {distance: 10000 km, time: 6 months}
    early: {distance: 800 km, time: 14 days}
    tolerance: 10%
    cautions: [hot fluid]
    follow up: {leak check: {after: {distance: 500 km}, lapses: {distance: 2000 km}}}
  coolant:
    every: {time: 24 months}
    unknown history: from in-service date
    count from: schedule
    tolerance: 10%
    cautions: [hot fluid]
rules:
  iron over baseline:
    on: sample
    measure: times("Fe")
    above: {advisory: 2, caution: 3, warning: 4}
    deadband: 10%
    confirm: {caution: 2}
    say: Iron is ${round(measure, 1)} times the baseline
    advise: Inspect.
    cautions: [hot fluid]
    follow up: {resample: {within: {distance: 3000 km}, settled by: sample}}
    pull in: {engine oil: {within: {distance: 2000 km, time: 40 days}}}
  copper made:
    on: sample
    measure: made("Cu")
    above: {caution: 8}
    say: Copper made ${measure}
    advise: Inspect.
    cautions: [hot fluid]
  additive kept:
    on: sample
    measure: kept("P")
    below: {advisory: 0.7}
    say: Kept ${measure}
    advise: Change the oil.
    cautions: [hot fluid]
  high use:
    on: reading
    measure: odometer()
    above: {advisory: 55000}
    deadband: 2%
    say: At ${measure}
    advise: Inspect.
    cautions: [hot fluid]
  dry:
    on: service
    raise: since("engine oil") > 9000
    clear: since("engine oil") < 100
    stage: advisory
    say: Long since an oil change
    advise: Inspect.
    cautions: [hot fluid]
`

// BenchmarkFold folds a reading each from 1,000 vehicles with the rules of the
// order test. The floor beside it only looks the vehicle up and copies its record.
func BenchmarkFold(b *testing.B) {
	const vehicles = 1000
	p := engine.NewPartition()
	p.Apply(bookEvent(load(b, foldRules)))
	p.Apply(intake.Tick(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)))
	for v := range vehicles {
		name := fmt.Sprintf("van-%04d", v)
		p.Apply(short(b, "v", fmt.Sprintf(`2031-01-02 vehicle %s van meter odometer since 2029-03-01 component motor engine fluid oil capacity 6L`, name)))
		p.Apply(short(b, "w", fmt.Sprintf(`2031-01-02 service %s "engine oil" odometer 10000`, name)))
	}
	at := time.Date(2031, 1, 3, 0, 0, 0, 0, time.UTC)
	reading := func(i int) event.Event {
		v, n := i%vehicles, i/vehicles
		when := at.Add(time.Duration(n) * time.Hour)
		return event.Event{ID: event.ID{Source: "/gateway", ID: fmt.Sprint(i)}, Kind: event.ReadingEvent, Vehicle: fmt.Sprintf("van-%04d", v),
			Time: when, Recorded: when, Digest: uint64(i), Data: &event.ReadingData{Meter: "odometer", Value: 10000 + float64(n)/10, Unit: "km"}}
	}
	events := make([]event.Event, b.N)
	for i := range events {
		events[i] = reading(i)
	}
	b.ReportAllocs()
	b.ResetTimer()
	for _, ev := range events {
		if out := p.Apply(ev); len(out) > 0 && out[0].Refused != nil {
			b.Fatal(out[0].Refused.Refused)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "events/s")
}
