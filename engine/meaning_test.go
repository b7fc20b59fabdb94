package engine_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"gopkg.in/yaml.v3"
	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

// meaningRules has a rule of each kind that remembers something: limits with a deadband,
// patterns that clear by a condition of their own, confirmation, masking, follow-ups and
// tasks pulled in; by samples, readings, work, the clock and mixtures of these.
const meaningRules = `
book: 1
units: {distance: km, volume: L}
data alarms: {silent: off, meter going back: off}
baselines:
  oil:
    where: component.kind == "engine"
    over: [any oil]
    fluid age: 10000 km
    source: invented
    mean: {Fe: 40, Cu: 10}
    fresh: {P: 900}
  any oil:
    where: component.kind != ""
    fluid age: 10000 km
    source: invented
    mean: {Fe: 60, Cu: 10}
tasks:
  engine oil:
    every: {distance: 10000 km, time: 6 months}
    early: {distance: 800 km, time: 14 days}
    tolerance: 10%
    cautions: [hot fluid]
    follow up: {leak check: {after: {distance: 500 km}, lapses: {distance: 2000 km}}}
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
  iron and copper:
    on: sample
    raise: value("Fe") > 120 && value("Cu") > 25
    clear: value("Fe") < 70
    stage: caution
    confirm: 2
    say: Iron and copper
    advise: Inspect.
    cautions: [hot fluid]
  iron in old oil:
    on: [sample, clock]
    measure: value("Fe") * (1 + daysSince("engine oil") / days(100))
    above: {advisory: 120, caution: 160}
    deadband: 20%
    confirm: {advisory: 2}
    say: At ${measure}
    advise: Inspect.
    cautions: [hot fluid]
    follow up: {look at the oil: {within: {distance: 1000 km}}}
  copper and use:
    on: [sample, reading]
    measure: value("Cu") * (1 + since("engine oil") / km(10000))
    above: {advisory: 30, caution: 50}
    deadband: 20%
    masked: no
    say: At ${measure}
    advise: Inspect.
    cautions: [hot fluid]
  high use:
    on: [reading, service]
    where: component.kind == "engine"
    measure: since("engine oil")
    above: {advisory: 4000}
    deadband: 30%
    say: At ${measure}
    advise: Inspect.
    cautions: [hot fluid]
  far:
    on: clock
    measure: since("engine oil") / km(1) + 10 * daysSince("engine oil") / days(1)
    above: {advisory: 3000, caution: 5000}
    deadband: 40%
    say: At ${measure}
    advise: Inspect.
    cautions: none
    follow up: {ask: {within: {distance: 500 km}}}
    pull in: {engine oil: {within: {distance: 1000 km, time: 30 days}}}
  long ago:
    on: [clock, service]
    raise: daysSince("engine oil") > 40
    clear: daysSince("engine oil") < 20
    stage: advisory
    say: Long since an oil change
    advise: Inspect.
    cautions: [hot fluid]
  dry:
    on: service
    raise: since("engine oil") > 3000
    clear: since("engine oil") < 1000
    stage: advisory
    say: Long since an oil change
    advise: Inspect.
    cautions: [hot fluid]
`

// sameMeaning writes the book otherwise: other comments and layout, keys in another order,
// baselines by other names.
func sameMeaning(rt *rapid.T) *rules.Book {
	renamed := strings.NewReplacer("any oil", "x"+rapid.StringMatching(`[a-z]{1,6}`).Draw(rt, "name"), "\n  oil:", "\n  z oil:").Replace(meaningRules)
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(renamed), &doc); err != nil {
		rt.Fatal(err)
	}
	reorder(rt, &doc)
	text, err := yaml.Marshal(&doc)
	if err != nil {
		rt.Fatal(err)
	}
	b, err := rules.Load([]rules.File{{Name: "other.yaml", Text: text}})
	if err != nil {
		rt.Fatalf("%v in\n%s", err, text)
	}
	return b
}

// reorder shuffles the keys of all mappings and writes comments beside some.
func reorder(rt *rapid.T, n *yaml.Node) {
	if n.Kind == yaml.MappingNode {
		for i := len(n.Content)/2 - 1; i > 0; i-- {
			j := rapid.IntRange(0, i).Draw(rt, "key")
			n.Content[2*i], n.Content[2*j] = n.Content[2*j], n.Content[2*i]
			n.Content[2*i+1], n.Content[2*j+1] = n.Content[2*j+1], n.Content[2*i+1]
		}
		if len(n.Content) > 0 && n.Style&yaml.FlowStyle == 0 {
			n.Content[0].HeadComment = rapid.SampledFrom([]string{"", "# so it is", "# 5 % were too little"}).Draw(rt, "comment")
		}
	}
	for _, c := range n.Content {
		reorder(rt, c)
	}
}

// arrival is an event with the moment at which it comes in.
type arrival struct {
	event.Event
	at time.Time
}

// inTurn folds the events as they come in, a tick at each midnight, and a book in front of
// the event of that number.
func inTurn(list []arrival, book *rules.Book, reload map[int]*rules.Book, until time.Time) *engine.Partition {
	p := engine.NewPartition()
	p.Apply(bookEvent(book))
	next := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	tick := func(upTo time.Time) {
		for ; !next.After(upTo); next = next.AddDate(0, 0, 1) {
			p.Apply(intake.Tick(next))
		}
	}
	for i, a := range list {
		tick(a.at)
		if b := reload[i]; b != nil {
			p.Apply(bookEvent(b))
		}
		p.Apply(a.Event)
	}
	tick(until)
	return p
}

// stands is what stands on the vehicle: stages, and how far each rule has got.
func stands(p *engine.Partition) string {
	var b strings.Builder
	alarms, latches := p.Standing("van-1")
	for _, a := range alarms {
		if a.Stage > 0 && !strings.HasPrefix(a.Rule, "data:") {
			fmt.Fprintf(&b, "%s %s %s\n", a.Rule, a.Component, a.StageName(a.Stage))
		}
	}
	for _, l := range latches {
		l.Judged, l.Missing = event.ID{}, nil // of the last event
		if l.On == [4]bool{} {
			l.Reached, l.Age, l.ReachedAt = event.ID{}, [2]float64{}, 0 // of what stands no more; the next stage has its own
		}
		text, _ := json.Marshal(l)
		fmt.Fprintf(&b, "%s\n", text)
	}
	return b.String()
}

// drawOddities writes some of the events otherwise: a sample with a date only or with a
// result below its limit, another registration. A new instrument is left out: which readings
// it makes doubtful hangs on what was held when it was told.
func drawOddities(rt *rapid.T, lines []string) []string {
	var out []string
	for i, line := range lines {
		out = append(out, line)
		when, what, _ := strings.Cut(line, " ")
		day, clock, _ := strings.Cut(when, "T")
		hour, _, _ := strings.Cut(when, ":")
		switch odd := rapid.IntRange(0, 9).Draw(rt, "odd"); {
		case i == 0 || clock == "":
		case strings.HasPrefix(what, "sample") && odd == 0:
			before, after, _ := strings.Cut(what, " odometer ")
			_, after, _ = strings.Cut(after, " ") // it would be read before what the day's readings show
			out[len(out)-1] = day + " " + before + " " + after
		case strings.HasPrefix(what, "sample") && odd == 1:
			out[len(out)-1] = strings.Replace(line, " Fe ", " Fe <", 1)
		case odd == 3:
			out = append(out, fmt.Sprintf("%s:30 vehicle van-1 van meter odometer since 2029-03-01 component motor engine fluid oil capacity %dL component radiator \"cooling system\" fluid coolant capacity 9L fitted 2031-01-08", hour, rapid.IntRange(4, 8).Draw(rt, "holds")))
		}
	}
	return out
}

// latest is how many days late a fact may come: work that is entered more than two weeks
// late opens no follow-up whose point has passed, which is meant so.
func latest(ev *event.Event) int {
	if ev.Kind == event.ServiceEvent {
		return 13
	}
	return 60
}

// delayed gives the events as they come in if some are late.
func delayed(rt *rapid.T, prompt []arrival) []arrival {
	late := slices.Clone(prompt)
	for i := range late {
		if rapid.IntRange(0, 2).Draw(rt, "late") == 0 {
			hours := rapid.IntRange(1, 24*latest(&late[i].Event)).Draw(rt, "hours late")
			late[i].at = late[i].at.Add(time.Duration(hours) * time.Hour)
		}
	}
	slices.SortStableFunc(late, func(a, b arrival) int { return a.at.Compare(b.at) })
	return late
}

// TestStandsByMeaning: what stands is a function of the events and of the book's meaning,
// not of when an event arrived, of names, of comments or of when the book was read again.
func TestStandsByMeaning(t *testing.T) {
	book := load(t, meaningRules)
	rapid.Check(t, func(rt *rapid.T) {
		lines := drawOddities(rt, drawYear(rt))
		var prompt []arrival
		for _, ev := range shortEvents(rt, lines, book) {
			prompt = append(prompt, arrival{ev, ev.Time})
		}
		until := prompt[len(prompt)-1].at.AddDate(0, 0, 62)
		late, again := delayed(rt, prompt), map[int]*rules.Book{}
		for range rapid.IntRange(0, 3).Draw(rt, "books") {
			again[rapid.IntRange(0, len(late)-1).Draw(rt, "before")] = sameMeaning(rt)
		}
		want, p := stands(inTurn(prompt, book, nil, until)), inTurn(late, book, again, until)
		if got := stands(p); got != want {
			var come []string
			for i, a := range late {
				if again[i] != nil {
					come = append(come, "book")
				}
				come = append(come, a.at.Format("01-02T15:04")+" "+a.ID.ID)
			}
			rt.Fatalf("only prompt:\n%s\nonly late:\n%s\nevents:\n%s\narrived: %s", without(want, got), without(got, want), strings.Join(lines, "\n"), strings.Join(come, ", "))
		}
		answerSome(rt, p, until)
		alarms, _ := p.Standing("van-1")
		for _, o := range p.Apply(bookEvent(sameMeaning(rt))) {
			if tr := o.Transition; tr != nil {
				rt.Fatalf("a book that means the same: %s is %s, %s", tr.Rule, tr.Transition, tr.Message)
			}
		}
		if after, _ := p.Standing("van-1"); !reflect.DeepEqual(alarms, after) {
			rt.Fatalf("a book that means the same left %v of %v", after, alarms)
		}
	})
}

// answerSome acknowledges some of the alarms that stand, and puts some aside.
func answerSome(rt *rapid.T, p *engine.Partition, at time.Time) {
	alarms, _ := p.Standing("van-1")
	for i, a := range alarms {
		what := rapid.SampledFrom([]string{"", "acknowledge", "shelve"}).Draw(rt, "answer")
		if a.Stage == 0 || what == "" {
			continue
		}
		d := &event.AnswerData{Answer: what, Rule: a.Rule, Component: a.Component, By: "ines", Why: "seen"}
		if what == "shelve" {
			d.Until = at.AddDate(0, 0, 7).Format(time.RFC3339)
		}
		ev := event.Event{ID: event.ID{Source: "/people", ID: fmt.Sprint("a-", i)}, Kind: event.AnswerEvent, Vehicle: "van-1", Time: at, Recorded: at, Data: d}
		for _, o := range p.Apply(ev) {
			if o.Refused != nil {
				rt.Fatal(o.Refused.Refused)
			}
		}
	}
}
