package cases_test

import (
	"fmt"
	"testing"

	"telltale/engine/cases"
	"telltale/rules"
)

// inUnits is the README's rule, and a case of it, as a file in some units says them.
func inUnits(name, units, young, odometer, old, below, flash string) rules.File {
	return rules.File{Name: name + ".yaml", Text: fmt.Appendf(nil, `book: 1
units: %[2]s
rules:
  iron in a van's engine, %[1]s:
    on: sample
    where: vehicle.kind == "van" && component.capacity > 5 && component.capacity < 8
    raise: value("Fe") > 60 && fluidAge() > %[3]s && value("flash") < %[6]s
    stage: caution
    say: Iron ${value("Fe")} mg/kg after ${fluidAge()}
    advise: Sample again within ${km(2000)}.
    cautions: [hot fluid]
cases:
  %[1]s:
    given:
      - 2031-01-02 vehicle van-01 van meter odometer component engine "diesel engine" fluid "5W-30" capacity 7
      - 2031-02-01 sample van-01 engine odo %[4]s age %[5]s Fe 74 flash %[7]s
    of: iron in a van's engine, %[1]s
    expect: [{on: 2031-02-01, rule: "iron in a van's engine, %[1]s", to: caution}]
`, name, units, young, odometer, old, below, flash)}
}

// A case speaks the units of its file, whatever other files do.
func TestCasesSpeakTheUnitsOfTheirFile(t *testing.T) {
	b, err := rules.Load([]rules.File{
		inUnits("metric", "{distance: km, volume: L, temperature: degC}", "5000", "20000", "5001", "200", "199"),
		inUnits("in miles", "{distance: mi, volume: qt, temperature: degF}", "5000", "20000", "5001", "392", "391"),
	})
	if err != nil {
		t.Fatal(err)
	}
	results, _ := cases.Run(b, nil)
	if len(results) != 2 {
		t.Fatalf("%d cases", len(results))
	}
	for i := range results {
		r := &results[i]
		if !r.OK() || len(r.Got) == 0 {
			t.Error(r.String())
		}
	}
}
