package rules

import (
	"testing"
)

const larkfell = `book: 1
units: {distance: km, volume: L}

baselines:
  light bus transmission fluid:
    where: component.kind == "automatic transmission"
    fluid age: 60000 km
    source: invented for the sample fleet
    mean: {Fe: 90, Cu: 40, Al: 22, Si: 14, Na: 6, K: 3}
    fresh: {P: 290, Ca: 130, B: 55}

tasks:
  transmission fluid:
    title: Drain and refill the transmission, new filter
    where: component.kind == "automatic transmission"
    every: {distance: 45000 km, time: 36 months}
    early: {distance: 2000 km, time: 30 days}
    tolerance: 10%
    shorten: 'vehicle.tags["road"] == "hills" ? 0.75 : 1.0'
    unknown history: due
    needs: [{fluid: ATF, volume: 4 L}, {part: filter and gasket kit}]
    cautions: [hot fluid, raised vehicle, used fluid]
    follow up: {leak check: {after: {distance: 500 km}}}

rules:
  copper over baseline:
    on: sample
    where: component.kind == "automatic transmission"
    measure: times("Cu")
    above: {advisory: 2, caution: 3, warning: 5}
    deadband: 10%
    say: Copper ${value("Cu")} mg/kg is ${round(measure, 1)} times the baseline
    points to: [bushings, thrust washers, cooler]
    advise:
      advisory: Sample again at the next service.
      caution: Sample again within 5,000 km; look for bronze in pan and filter.
      warning: Stop and have the transmission inspected before further use.
    follow up: {resample: {within: {distance: 5000 km, time: 90 days}, settled by: sample}}
    cautions: [hot fluid, raised vehicle]

  coolant in the fluid:
    on: sample
    raise: value("Na") - fresh("Na") > 15 && value("K") - fresh("K") > 10 && change("K") > 0
    stage: warning
    masked: no
    say: Sodium and potassium have risen together; coolant is not ruled out
    advise: Stop; check the coolant level, pressure-test the cooler, test for water and glycol.
    cautions: [pressurised coolant]

cases:
  half a drain does not hide the copper:
    given: [2031-04-02 sample bus-07 transmission odo 81200 Cu 131]
    expect: [{on: 2031-04-02, rule: copper over baseline, to: caution}]
`

func load(t testing.TB, text string) *Book {
	t.Helper()
	b, err := Load([]File{{"rules/a.yaml", []byte(text)}})
	if err != nil {
		t.Fatalf("loading:\n%v", err)
	}
	return b
}

func TestLoadOfAWholeBook(t *testing.T) {
	b := load(t, larkfell)
	j := NewJudge(b)
	f := &fakeFacts{comp: &Component{Name: "transmission", Kind: "automatic transmission"},
		numbers: map[string]float64{`times("Cu")`: 3.275, `value("Cu")`: 131},
		notes:   map[string]string{`times("Cu")`: "the baseline"}}
	r := b.Rules[1]
	got := j.Run(r, f)
	t.Logf("%+v", got)
	t.Log(j.Why(r, f, got.Ends[0]))
	t.Log(j.Say(r, Caution, f, 3.275), "|", j.Advise(r, Caution, f, 3.275))
	t.Log(j.Run(b.Rules[0], f))
	t.Logf("%+v", *b.Tasks[0])
	t.Log(j.Number(b.Tasks[0].Shorten, f))
	t.Logf("%+v", b.For(j, f.Vehicle(), []Component{*f.comp, {Name: "axle"}}))
}
