package engine_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// askRules has rules by the clock that ask how others stand, by samples and by the clock;
// and tasks by a day of the year, by what is measured, and by what is reported.
const askRules = `
book: 1
units: {distance: km, volume: L}
data alarms: {silent: off, meter going back: off}
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
  pads:
    every: {until: {lining: 3 mm}}
    early: {distance: 1500 km, time: 20 days}
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
  clocked:
    on: clock
    raise: stands("far") && stage("iron over baseline") >= 1
    clear: '!stands("far")'
    stage: caution
    say: Clocked
  clocked two:
    on: [clock]
    measure: stage("far") + stage("clocked") + stage("iron over baseline")
    above: {advisory: 1, caution: 3}
    deadband: 50%
    say: Clocked
  far:
    on: clock
    measure: since("engine oil") / km(1) + 10 * daysSince("engine oil") / days(1)
    above: {advisory: 3000, caution: 5000}
    deadband: 40%
    say: At ${measure}
    advise: Inspect.
    cautions: none
  burns:
    on: [reading, service]
    where: component.kind == "engine"
    measure: toppedUp()
    above: {advisory: 0.5, caution: 2}
    deadband: 20%
    say: ${measure} L
  burns clock:
    on: [clock]
    where: component.kind == "engine"
    measure: toppedUp()
    above: {advisory: 0.5, caution: 2}
    deadband: 20%
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
  other:
    on: [sample, clock]
    where: component.kind == "engine"
    measure: value("Na", "cooling system") + value("Fe")
    above: {advisory: 60, caution: 150}
    deadband: 20%
    confirm: {advisory: 2}
    say: Other
  thin lining:
    on: sample
    measure: value("lining")
    below: {advisory: 5, caution: 4}
    deadband: 10%
    confirm: {caution: 2}
    say: Lining ${measure}
    advise: Inspect.
    cautions: [hot fluid]
  lining by clock:
    on: [sample, clock]
    measure: value("lining") / (1 + daysSince("pads") / days(200))
    below: {advisory: 5, caution: 4}
    deadband: 10%
    say: Lining ${measure}
    advise: Inspect.
    cautions: [hot fluid]
`

// TestAskedByTheClock: rules by the clock that ask of others end alike, whenever what these
// are judged on arrives.
func TestAskedByTheClock(t *testing.T) {
	book := load(t, askRules)
	rapid.Check(t, func(rt *rapid.T) {
		lines := drawOddities(rt, drawYear(rt))
		var prompt []arrival
		for _, ev := range shortEvents(rt, lines, book) {
			prompt = append(prompt, arrival{ev, ev.Time})
		}
		until := prompt[len(prompt)-1].at.AddDate(0, 0, 62)
		late := delayed(rt, prompt)
		want, p := stands(inTurn(prompt, book, nil, until)), inTurn(late, book, nil, until)
		if got := stands(p); got != want {
			var come []string
			for _, a := range late {
				come = append(come, a.at.Format("01-02T15:04")+" "+a.ID.ID)
			}
			rt.Fatalf("only prompt:\n%s\nonly late:\n%s\nevents:\n%s\narrived: %s", without(want, got), without(got, want), strings.Join(lines, "\n"), strings.Join(come, ", "))
		}
	})
}
