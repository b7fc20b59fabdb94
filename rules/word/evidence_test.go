package word

import (
	"strings"
	"testing"

	"telltale/rules/unit"
)

func TestTold(t *testing.T) {
	told := map[string]bool{}
	for _, c := range []struct {
		of, want string
		yes      bool
	}{
		{`odometer()`, "odometer", false},
		{`hours()`, "hour meter", false},
		{`perDay()`, "use a day", false},
		{`value("Fe")`, "iron", false},
		{`value("KV100")`, "viscosity at 100 °C", false},
		{`below("Pb")`, "lead below the laboratory's limit", true},
		{`has("Hg")`, "mercury in the sample", true},
		{`hasEarlier("K")`, "potassium in this sample and the one before", true},
		{`fluidAge()`, "age of the fluid", false},
		{`fluidHours()`, "running time of the fluid", false},
		{`times("Cu")`, "copper, times the baseline", false},
		{`timesForAge("Fe")`, "iron, times the baseline at this fluid age", false},
		{`deviations("Fe")`, "iron, standard deviations above the baseline", false},
		{`percentile("Fe")`, "iron, percentile of the baseline", false},
		{`timesTheAge()`, "age of the fluid, times the baseline's", false},
		{`change("K")`, "change of potassium since the last sample", false},
		{`rate("Fe")`, "rate of iron", false},
		{`ratePer100h("Fe")`, "rate of iron in 100 h", false},
		{`usual("Pb")`, "usual lead for a fluid of this age", false},
		{`excess("Si")`, "silicon beyond what is usual", false},
		{`excessIsReal("Si")`, "silicon beyond what is usual by more than method and spread account for", true},
		{`hasUsual("Ni")`, "nickel in the sample, and something to compare it with", true},
		{`fresh("Na")`, "sodium in fresh fluid", false},
		{`kept("P")`, "phosphorus, share of fresh", false},
		{`carried("Cu")`, "copper left from before the exchange", false},
		{`made("Cu")`, "copper made since the exchange", false},
		{`madeIsReal("Cu")`, "more copper made since the exchange than the method alone accounts for", true},
		{`expected("Cu")`, "copper expected by now", false},
		{`changeIsReal("Fe")`, "change of iron is more than the method alone accounts for", true},
		{`trend("Fe")`, "trend of iron", false},
		{`trendIsReal("Cu")`, "trend of copper is significant", true},
		{`exchangesTo("Na", 15)`, "exchanges like the last one until sodium is at 15 mg/kg", false},
		{`exchangesTo("ferrous", 2.5)`, "exchanges like the last one until ferrous particle index is at 2.5", false},
		{`litresTo("Na", 15)`, "fluid for exchanges until sodium is at 15 mg/kg", false},
		{`outOfControl("Fe")`, "iron made faster than is usual here", true},
		{`metalsFell()`, "all wear metals fell together", true},
		{`outOfGrade("SAE 5W-30")`, "viscosity outside SAE 5W-30", false},
		{`outOfFluidGrade()`, "viscosity outside the grade of the fluid", false},
		{`runningIn()`, "still running in", true},
		{`hasFresh("Mo")`, "molybdenum in the sample, and in what is known of fresh fluid", true},
		{`viscosityIndex()`, "viscosity index", false},
		{`since("engine oil")`, "since engine oil", false},
		{`since("Cu")`, "since Cu", false},
		{`hoursSince("oil - the \"long\" one")`, `running time since oil - the "long" one`, false},
		{`daysSince("brake check")`, "time since brake check", false},
		{`dueIn("engine oil")`, "until engine oil", false},
		{`daysToDue("inspection")`, "time until inspection", false},
		{`done("timing belt")`, "timing belt ever done", true},
		{`ewmaOut("Fe")`, "iron made faster than at first by its weighted average", true},
		{`cusumOut("Fe")`, "iron made faster than at first by its cumulative sum", true},
		{`viscosityAt(20)`, "viscosity at 20 °C", false},
		{`viscosityAt(-12.5)`, "viscosity at -12.5 °C", false},
		{`iso4406("particles14")`, "ISO 4406 code of particles above 14 µm", false},
		{`as4059("particles6")`, "SAE AS4059 class of particles above 6 µm", false},
		{`acidCrossing()`, "until the acid number crosses the base number", false},
		{`acidCrossingHours()`, "running time until the acid number crosses the base number", false},

		{`fluidDistance()`, "distance from the fresh fluid that it should be, in the method's errors", false},
		{`nearerFluid()`, "another fluid of the book clearly nearer than its own", true},

		{`meter("idle hours")`, "idle hours run", false},
		{`meterDistance("trailer odometer")`, "trailer odometer run", false},
		{`hoursPerDay("idle hours")`, "idle hours a day", false},
		{`toppedUp()`, "fluid topped up", false},
		{`toppedUpHours()`, "fluid topped up", false},
		{`stands("coolant is sour")`, `the alarm coolant is sour stands`, true},
		{`stage("iron")`, `stage of iron`, false},
		{`value("Na", "cooling")`, "sodium (cooling)", false},

		{`value("Na") - fresh("Na")`, "", false},
		{`1000 * made("Cu") / max(since("ATF"), 5000)`, "", false},
		{`metalsFell() || value("Fe") + 1 > 2`, "", false},
		{`round(2.5)`, "", false},
		{`0.12 * si`, "", false},
		{`component.fluid contains "W-20" ? 6.9 : 9.3`, "", false},
		{`times("Cu") + anew()`, "", false},
		{"odometer", "odometer", false},
		{"past the due point", "past the due point", false},
		{"", "", false},
	} {
		if got, yes := (&Evidence{Of: c.of}).Told(); got != c.want || yes != c.yes {
			t.Errorf("%s: got %q, %v, want %q, %v", c.of, got, yes, c.want, c.yes)
		}
		name, _, _ := strings.Cut(c.of, "(")
		told[name] = true
	}
	for _, d := range All() {
		if !told[d.Name] {
			t.Errorf("nothing shows how %s is told", d.Name)
		}
	}
}

// A mile is 1.609344 km and 10 degC are 50 degF, exactly; a difference of 10 degC is one of
// 18 degF (NIST SP 811, B.8 and B.9).
func TestEvidenceIn(t *testing.T) {
	us := unit.System{Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"}
	for _, c := range []struct{ was, want Evidence }{
		{Evidence{Of: "odometer()", Value: 160934.4, Unit: "km"}, Evidence{Of: "odometer()", Value: 100000, Unit: "mi"}},
		{Evidence{Of: "perDay()", Value: 100, Unit: "km/day"}, Evidence{Of: "perDay()", Value: 62.1, Unit: "mi/day"}},
		{Evidence{Of: `rate("Fe")`, Value: 10, Unit: "mg/kg per 1,000 km"}, Evidence{Of: `rate("Fe")`, Value: 16.09, Unit: "mg/kg per 1,000 mi"}},
		{Evidence{Of: `trend("Fe")`, Value: 10, Unit: "mg/kg per 1,000 km, for each 1,000 km"}, Evidence{Of: `trend("Fe")`, Value: 25.9, Unit: "mg/kg per 1,000 mi, for each 1,000 mi"}},
		{Evidence{Of: `value("flash")`, Value: 10, Unit: "degC"}, Evidence{Of: `value("flash")`, Value: 50, Unit: "degF"}},
		{Evidence{Of: `change("flash")`, Value: -10, Unit: "degC"}, Evidence{Of: `change("flash")`, Value: -18, Unit: "degF"}},
		{Evidence{Of: `value("Fe")`, Value: 10, Unit: "mg/kg"}, Evidence{Of: `value("Fe")`, Value: 10, Unit: "mg/kg"}},
		{Evidence{Of: "hours()", Value: 10, Unit: "h"}, Evidence{Of: "hours()", Value: 10, Unit: "h"}},
		{Evidence{Of: "odometer()", Value: 12345.678, Unit: "mi"}, Evidence{Of: "odometer()", Value: 12345.678, Unit: "mi"}},
		{Evidence{Of: `rate("Fe")`, Value: 1.23456, Unit: "mg/kg per 1,000 mi"}, Evidence{Of: `rate("Fe")`, Value: 1.23456, Unit: "mg/kg per 1,000 mi"}},
	} {
		if got := c.was.In(us); got != c.want {
			t.Errorf("%+v is %+v, want %+v", c.was, got, c.want)
		}
		if got := c.was.In(unit.System{}); got != c.was {
			t.Errorf("%+v is %+v to whom nothing is said", c.was, got)
		}
	}
}
