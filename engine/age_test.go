package engine_test

import (
	"encoding/json"
	"fmt"
	"testing"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules/unit"
)

// TestAgeBeyondAll: an age that no fluid has is not reckoned with, also of a vehicle
// that was never read, and all that is said and stored can be written.
func TestAgeBeyondAll(t *testing.T) {
	book := load(t, `book: 1
units: {distance: km, volume: L}
baselines:
  oil: {where: component.kind == "engine", fluid age: 10000 km, source: invented, mean: {Fe: 40}}
rules:
  iron:
    on: sample
    where: component.kind == "engine"
    measure: timesForAge("Fe")
    above: {caution: 2}
    say: Iron ${measure}
    advise: Look.
    cautions: [hot fluid]
  old:
    on: sample
    where: component.kind == "engine"
    measure: fluidAge()
    above: {caution: 20000}
    say: Old ${measure}
    advise: Change it.
    cautions: [hot fluid]
`)
	for _, age := range []string{"1e307 km", "1e308 h", "1e15 km", "1e12 h", "10000001 km", "1000001 h"} {
		p := engine.NewPartition()
		p.Apply(bookEvent(book))
		var out []engine.Output
		for i, line := range []string{
			"2031-01-02 vehicle van-1 van meter odometer hours hours component engine engine fluid oil capacity 6L",
			"2031-01-10 sample van-1 engine age 9000 km Fe 50",
		} {
			ev, err := intake.Short(line, fmt.Sprintf("e-%d", i), unit.System{Distance: "km", Volume: "L"})
			if err != nil {
				t.Fatal(err)
			}
			if d, ok := ev.Data.(*event.SampleData); ok {
				if _, err := fmt.Sscanf(age, "%g %s", &d.FluidAge.Value, &d.FluidAge.Unit); err != nil {
					t.Fatal(err)
				}
			}
			out = append(out, p.Apply(ev)...)
		}
		noted := false
		for _, o := range out {
			if o.Transition != nil {
				t.Errorf("%s: %s", age, o.Transition.Message)
			}
			noted = noted || o.Refused != nil
		}
		if !noted {
			t.Errorf("%s: nothing says that it is not used", age)
		}
		if _, err := p.Encode("van-1"); err != nil {
			t.Errorf("%s: %v", age, err)
		}
		if _, err := json.Marshal(out); err != nil {
			t.Errorf("%s: %v", age, err)
		}
		if _, err := json.Marshal(p.Verdicts("van-1", "")); err != nil {
			t.Errorf("%s: %v", age, err)
		}
	}
}
