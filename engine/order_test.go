package engine_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

const orderRules = `
book: 1
units: {distance: km, volume: L}
measures: {lining: mm}
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
  pads:
    every: {until: {lining: 3 mm}}
    early: {distance: 1500 km, time: 20 days}
    tolerance: 10%
    cautions: [hot fluid]
  coolant:
    every: {time: 24 months}
    unknown history: from in-service date
    count from: schedule
    tolerance: 10%
    cautions: [hot fluid]
  permit:
    every: {time: 12 months}
    early: {time: 14 days}
    cautions: none
  winter tyres:
    every: {year: 1 November}
    early: {time: 30 days}
    tolerance: {time: 7 days}
    unknown history: from first reading
    cautions: none
  oil sample:
    where: component.kind == "engine"
    every: {time: 3 months, distance: 9000 km}
    settled by: sample
    cautions: [hot fluid]
  defect:
    every: when reported
    tolerance: {time: 3 days}
    cautions: none
rules:
  a beside:
    on: sample
    where: component.kind == "engine"
    raise: stage("iron over baseline") >= 2 && value("Na", "cooling system") > 30
    stage: caution
    say: Both
  all at once:
    on: [reading, service]
    raise: stands("a beside") || stage("sour") == 2
    stage: caution
    say: At once
  burns:
    on: [reading, service]
    where: component.kind == "engine"
    measure: toppedUp()
    above: {advisory: 0.5, caution: 2}
    say: ${measure} L
  sour:
    on: sample
    where: component.kind == "cooling system"
    measure: value("Na")
    above: {advisory: 20, caution: 60}
    deadband: 20%
    say: Sour
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
  thin lining:
    on: sample
    measure: value("lining")
    below: {advisory: 5, caution: 4}
    deadband: 10%
    confirm: {caution: 2}
    say: Lining ${measure}
    advise: Inspect.
    cautions: [hot fluid]
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

// TestOrderMakesNoDifference: late, repeated, corrected and voided events leave
// the same record and the same standing stages as events in order.
func TestOrderMakesNoDifference(t *testing.T) {
	book, err := rules.Load([]rules.File{{Name: "order.yaml", Text: []byte(orderRules)}})
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		lines := drawYear(rt)
		for range rapid.IntRange(0, 2).Draw(rt, "postponed") {
			lines = putOff(rt, lines)
		}
		events := shortEvents(rt, lines, book)
		// While it happens, or as a backlog of two years.
		from := rapid.SampledFrom([]int{2031, 2033}).Draw(rt, "the clock begins in")
		want := standing(events, book, from)
		mixed := append(slices.Clone(events), pick(rt, events)...)
		for i := range mixed { // Fisher and Yates, drawn so that it shrinks
			j := rapid.IntRange(0, i).Draw(rt, "swap")
			mixed[i], mixed[j] = mixed[j], mixed[i]
		}
		if got := standing(mixed, book, from); got != want {
			rt.Fatalf("only in order:\n%s\nonly mixed:\n%s\nevents:\n%s", without(want, got), without(got, want), strings.Join(lines, "\n"))
		}
	})
}

// putOff draws an answer that puts the oil change off, after one of the events.
func putOff(rt *rapid.T, lines []string) []string {
	i := rapid.IntRange(1, len(lines)).Draw(rt, "where")
	when, _, _ := strings.Cut(lines[i-1], " ")
	day, err := time.Parse(time.DateOnly, when[:len(time.DateOnly)])
	if err != nil {
		rt.Fatal(err)
	}
	limit := "until " + day.AddDate(0, 0, rapid.IntRange(1, 170).Draw(rt, "days")).Format(time.DateOnly)
	if rapid.Bool().Draw(rt, "by distance") {
		limit = fmt.Sprintf("distance %d", rapid.IntRange(1, 9000).Draw(rt, "by"))
	}
	return slices.Insert(lines, i, when+` answer van-1 postpone "engine oil" `+limit+` by ines why "no room"`)
}

// without gives the lines of a that b lacks.
func without(a, b string) string {
	have := strings.Split(b, "\n")
	return strings.Join(slices.DeleteFunc(strings.Split(a, "\n"), func(l string) bool { return slices.Contains(have, l) }), "\n")
}

// pick draws events that are sent once more.
func pick(rt *rapid.T, events []event.Event) []event.Event {
	var out []event.Event
	for _, ev := range events {
		if rapid.IntRange(0, 4).Draw(rt, "again") == 0 {
			out = append(out, ev)
		}
	}
	return out
}

// drawYear draws the events of a vehicle's life in short form, in order.
func drawYear(rt *rapid.T) []string {
	lines := []string{`2031-01-02 vehicle van-1 van meter odometer since 2029-03-01 component motor engine fluid oil capacity 6L component radiator "cooling system" fluid coolant capacity 9L fitted 2031-01-08`}
	at, km := time.Date(2031, 1, 3, 0, 0, 0, 0, time.UTC), 48000
	for i := range rapid.IntRange(3, 40).Draw(rt, "n") {
		at = at.Add(time.Duration(rapid.IntRange(1, 400).Draw(rt, "hours")) * time.Hour)
		km += rapid.IntRange(0, 900).Draw(rt, "km")
		when := at.Format("2006-01-02T15:04")
		switch rapid.IntRange(0, 18).Draw(rt, "what") {
		case 15, 16:
			lines = append(lines, fmt.Sprintf(`%s measured van-1 odometer %d "lining" %d.%dmm`, when, km, rapid.IntRange(2, 9).Draw(rt, "mm"), rapid.IntRange(0, 9).Draw(rt, "tenths")))
		case 17:
			lines = append(lines, fmt.Sprintf(`%s service van-1 "pads" odometer %d`, when, km))
		case 0:
			lines = append(lines, fmt.Sprintf(`%s service van-1 "engine oil" on motor odometer %d filled %dL`, when, km, rapid.IntRange(2, 6).Draw(rt, "litres")))
		case 1:
			lines = append(lines, fmt.Sprintf(`%s service van-1 "leak check" "coolant" odometer %d`, when, km))
		case 2, 3, 4:
			lines = append(lines, fmt.Sprintf(`%s sample van-1 motor odometer %d age %dkm Fe %d Cu %d P %d`, when, km,
				rapid.IntRange(100, 9000).Draw(rt, "age"), rapid.IntRange(20, 220).Draw(rt, "Fe"), rapid.IntRange(1, 60).Draw(rt, "Cu"), rapid.IntRange(400, 900).Draw(rt, "P")))
		case 5:
			lines = append(lines, fmt.Sprintf(`%s reading van-1 odometer %d`, when, rapid.IntRange(0, 2_000_000).Draw(rt, "typo")))
		case 10:
			lines = append(lines, fmt.Sprintf(`%s reading van-1 odometer %d topped %dL`, when, km, rapid.IntRange(0, 7).Draw(rt, "topped")))
		case 11:
			lines = append(lines, fmt.Sprintf(`%s sample van-1 radiator odometer %d Na %d`, when, km, rapid.IntRange(1, 90).Draw(rt, "Na")))
		case 12:
			lines = append(lines, fmt.Sprintf(`%s service van-1 defect "fault %d" odometer %d`, when, i, km))
		case 13:
			lines = append(lines, fmt.Sprintf(`%s service van-1 "defect" "winter tyres" odometer %d`, when, km))
		case 14:
			lines = append(lines, fmt.Sprintf(`%s service van-1 permit valid %s`, when, at.AddDate(0, 0, rapid.IntRange(0, 500).Draw(rt, "valid")).Format(time.DateOnly)))
		case 6:
			lines = append(lines, fmt.Sprintf(`%s void van-1 e-%d`, when, rapid.IntRange(0, i).Draw(rt, "target")))
		default:
			lines = append(lines, fmt.Sprintf(`%s reading van-1 odometer %d`, when, km))
		}
	}
	return lines
}

func shortEvents(rt *rapid.T, lines []string, book *rules.Book) []event.Event {
	var out []event.Event
	void := map[string]bool{}
	for i, line := range lines {
		ev, err := intake.Short(line, fmt.Sprintf("e-%d", i), book.Units)
		if err != nil {
			rt.Fatalf("%s: %v", line, err)
		}
		if d, ok := ev.Data.(*event.VoidData); ok {
			// What a void of a void is refused for hangs on which came first.
			if void[d.ID] || d.ID == "e-0" {
				continue
			}
			void[ev.ID.ID] = true
		}
		out = append(out, ev)
	}
	return slices.DeleteFunc(out, func(ev event.Event) bool {
		d, ok := ev.Data.(*event.VoidData)
		return ok && void[d.ID]
	})
}

// standing folds the events with a tick before and after, and gives the record's
// facts and what stands.
func standing(events []event.Event, book *rules.Book, from int) string {
	p := engine.NewPartition()
	p.Apply(bookEvent(book))
	p.Apply(intake.Tick(time.Date(from, 1, 1, 0, 0, 0, 0, time.UTC)))
	for _, ev := range events {
		p.Apply(ev)
	}
	for day := range 3 { // a backlog is in by then
		p.Apply(intake.Tick(time.Date(2033, 1, 2+day, 0, 0, 0, 0, time.UTC)))
	}
	return p.Describe("van-1")
}
