package engine_test

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
	"telltale/rules/unit"
)

const quietRules = `
book: 1
units: {distance: km, volume: L}
tasks:
  engine oil:
    every: {distance: 3000 km, time: 6 months}
    early: {distance: 300 km, time: 14 days}
    tolerance: 10%
    cautions: [hot fluid]
    follow up: {leak check: {after: {distance: 200 km}, tolerance: 10%, lapses: {distance: 600 km}}}
  tyres:
    every: {distance: 2000 km, time: 12 months}
    early: {time: 10 days}
    unknown history: from first reading
    cautions: [raised vehicle]
    follow up: {leak check: {after: {distance: 1000 km}, tolerance: {distance: 1000 km}}}
  crane:
    where: component.kind == "crane"
    every: {hours: 50 h, time: 1 years}
    early: {hours: 8 h, time: 1 months}
    tolerance: 5%
    cautions: [raised load]
    follow up: {second look: {within: {hours: 5 h, time: 20 days}, lapses: {hours: 30 h}}}
  annual test:
    every: {time: 12 months}
    early: {time: 30 days}
    unknown history: from in-service date
    statutory: yes
    cautions: [raised vehicle]
  filter:
    where: vehicle.tags["road"] == "dust"
    every: {distance: 1500 km}
    early: {distance: 200 km}
    shorten: 'vehicle.tags["road"] == "dust" ? 0.5 : 1.0'
    cautions: [dust]
rules:
  iron:
    on: sample
    measure: value("Fe")
    above: {advisory: 100}
    say: Iron ${measure}
    advise: Sample again.
    cautions: [hot fluid]
    follow up: {resample: {within: {distance: 800 km, time: 40 days}, settled by: sample}}
    pull in: {engine oil: {within: {distance: 500 km, time: 30 days}}, tyres: {within: {hours: 20 h}}}
`

// TestQuietReadings: taking readings without judging, and ticks by the order of
// next changes, says exactly what judging every reading and looking at every
// vehicle at each tick says.
func TestQuietReadings(t *testing.T) {
	book := load(t, quietRules)
	quiet, readings := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		q, n := twins(rt, book, drawFleet(rt))
		quiet, readings = quiet+q, readings+n
	})
	t.Logf("%d of %d readings were taken without judging", quiet, readings)
	if quiet < readings/16 {
		t.Errorf("only %d of %d readings were taken without judging: the comparison says little", quiet, readings)
	}
}

// twins folds the events in both ways and compares what each of them said.
func twins(tb rapid.TB, book *rules.Book, events []event.Event) (quiet, readings int) {
	fast, slow := engine.NewPartition(), engine.NewPartition()
	slow.JudgeAll()
	fast.Apply(bookEvent(book))
	slow.Apply(bookEvent(book))
	for i, ev := range events {
		before := fast.Quietly()
		one, two := describe(fast.Apply(ev)), describe(slow.Apply(ev))
		if one != two {
			tb.Fatalf("event %d, %s of %s at %s %+v:\nwithout judging all: %s\nwith:                %s", i, ev.Kind, ev.Vehicle, ev.Time, ev.Data, one, two)
		}
		if ev.Kind == event.ReadingEvent {
			readings, quiet = readings+1, quiet+fast.Quietly()-before
		}
	}
	for _, v := range fast.Vehicles() {
		if one, two := fast.Describe(v), slow.Describe(v); one != two {
			tb.Fatalf("the record of %s without judging all:\n%s\nwith:\n%s", v, one, two)
		}
	}
	return quiet, readings
}

// drawFleet draws some months of two vehicles that are read often or seldom,
// with work, samples, answers, mistakes and late events in between.
func drawFleet(rt *rapid.T) []event.Event {
	at := time.Date(2031, 1, 3, 5, 0, 0, 0, time.UTC)
	var out []event.Event
	n := 0
	add := func(format string, args ...any) {
		n++
		ev, err := intake.Short(fmt.Sprintf(format, args...), fmt.Sprintf("e-%d", n), unit.System{Distance: "km", Volume: "L"})
		if err != nil {
			rt.Fatalf("%s: %v", fmt.Sprintf(format, args...), err)
		}
		out = append(out, ev)
	}
	road := rapid.SampledFrom([]string{"dust", "hills"}).Draw(rt, "road")
	add(`2031-01-02 vehicle van-1 van meter odometer since 2030-03-01 component motor engine fluid oil capacity 6L tag road=%s`, road)
	add(`2031-01-02 vehicle van-2 van meter odometer hours hours since 2030-08-01 component lift crane`)
	apart := rapid.SampledFrom([]int{1, 6, 24, 24 * 7}).Draw(rt, "apart") // hours, about
	pace := rapid.IntRange(0, 400).Draw(rt, "pace")                       // km a day, about
	most := rapid.SampledFrom([]int{59, 199}).Draw(rt, "how seldom anything but a reading comes")
	km, hours := 50000.0, 900.0
	for range rapid.IntRange(20, 250).Draw(rt, "events") {
		gap := time.Duration(rapid.IntRange(1, 2*apart*60).Draw(rt, "minutes")) * time.Minute
		at = at.Add(gap)
		use := rapid.Float64Range(0, 2).Draw(rt, "use") * gap.Hours() / 24
		km, hours = km+use*float64(pace), hours+use*3
		when := at.Format("2006-01-02T15:04")
		v := rapid.SampledFrom([]string{"van-1", "van-2"}).Draw(rt, "vehicle")
		switch what := most - rapid.IntRange(0, most).Draw(rt, "what"); { // small numbers are drawn most
		case what == 0:
			add(`%s service %s "engine oil" "tyres" odometer %.0f`, when, v, km)
		case what == 1:
			add(`%s service van-2 "crane" hours %.1fh`, when, hours)
		case what == 2:
			add(`%s service %s "leak check" "annual test" "filter"`, when, v)
		case what == 3:
			add(`%s sample van-1 motor odometer %.0f Fe %d`, when, km, rapid.IntRange(50, 150).Draw(rt, "Fe"))
		case what == 4:
			add(`%s reading %s odometer %d`, when, v, rapid.IntRange(0, 900000).Draw(rt, "typo"))
		case what == 5:
			add(`%s reading %s odometer %.1f reported %s`, at.Add(-40*time.Hour).Format("2006-01-02T15:04"), v, km-30, when)
		case what == 6:
			add(`%s void %s e-%d`, when, v, rapid.IntRange(1, n).Draw(rt, "target"))
		case what == 7:
			add(`%s answer %s postpone "tyres" until %s by ines why "busy"`, when, v, at.AddDate(0, 0, rapid.IntRange(1, 60).Draw(rt, "days")).Format(time.DateOnly))
		case what == 8:
			add(`%s answer %s shelve "engine oil" until %s by ines why "busy"`, when, v, at.AddDate(0, 0, 9).Format(time.RFC3339))
		case what == 9:
			at = at.AddDate(0, 0, rapid.IntRange(1, 60).Draw(rt, "laid up"))
		case what == 10:
			late := rapid.IntRange(10, 30).Draw(rt, "days late")
			add(`%s service %s "engine oil" "tyres" odometer %.0f reported %s`, at.AddDate(0, 0, -late).Format("2006-01-02T15:04"), v, km-float64(late*pace), when)
		case what == 11:
			add(`%s reading %s odometer %.1f reported %s`, when, v, km, at.AddDate(0, 0, rapid.IntRange(1, 20).Draw(rt, "days on the way")).Format("2006-01-02T15:04"))
		case what < 20:
			out = append(out, intake.Tick(at.Add(-time.Duration(rapid.IntRange(0, 60).Draw(rt, "behind"))*time.Minute)))
		case what < 28:
			add(`%s reading van-2 hours %.2fh`, when, hours)
		default:
			add(`%s reading %s odometer %.1f`, when, v, km)
		}
	}
	return append(out, intake.Tick(at.AddDate(0, 2, 0)))
}

// TestReloadedReadings: a partition of which each record is stored and loaded again,
// now and then, says exactly what one says that runs on.
func TestReloadedReadings(t *testing.T) {
	book := load(t, quietRules)
	rapid.Check(t, func(rt *rapid.T) {
		whole, reloaded := engine.NewPartition(), engine.NewPartition()
		whole.Apply(bookEvent(book))
		reloaded.Apply(bookEvent(book))
		often := rapid.SampledFrom([]int{1, 5, 40}).Draw(rt, "how often")
		for i, ev := range drawFleet(rt) {
			if i%often == 0 {
				reloaded = again(rt, reloaded)
			}
			one, two := describe(whole.Apply(ev)), describe(reloaded.Apply(ev))
			if one != two {
				rt.Fatalf("event %d, %s of %s at %s %+v:\nrunning on: %s\nreloaded:   %s", i, ev.Kind, ev.Vehicle, ev.Time, ev.Data, one, two)
			}
		}
		for _, v := range whole.Vehicles() {
			if one, two := whole.Describe(v), reloaded.Describe(v); one != two {
				rt.Fatalf("the record of %s running on:\n%s\nreloaded:\n%s", v, one, two)
			}
		}
	})
}

// again is the partition after all its records were stored and loaded.
func again(tb rapid.TB, p *engine.Partition) *engine.Partition {
	next := engine.NewPartition()
	next.Restore(p.Now(), p.Book())
	next.Resume(p.Resumed())
	for _, v := range p.Vehicles() {
		b, err := p.Encode(v)
		if err == nil {
			err = next.Load(v, b)
		}
		if err != nil {
			tb.Fatal(err)
		}
	}
	return next
}
