package rules

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"telltale/rules/word"
)

// patternBook is a book of one pattern on samples.
func patternBook(t testing.TB, raise string) *Book {
	t.Helper()
	return load(t, "book: 1\ntasks: {oil: {every: {distance: 1 km}}, never: {every: {distance: 1 km}}}\nbaselines: {b: {source: invented, fluid age: 60000 km, mean: {Fe: 90, Cu: 40, K: 3}}}\n"+
		"rules:\n  r:\n    on: sample\n    stage: caution\n    raise: |\n      "+raise+"\n")
}

var gearbox = &word.Component{Name: "gearbox", Kind: "automatic transmission", Fluid: "ATF", Capacity: 8}

// TestConditions runs patterns against facts: raised, clear, or what is missing.
func TestConditions(t *testing.T) {
	numbers := map[string]float64{
		`value("Fe")`: 100, `value("Cu")`: 0, `value("Si")`: 3.3, `change("K")`: -2, `fresh("K")`: 0, `times("Cu")`: 3.275,
		"odometer()": 81234.5e3, "hours()": 3600 * 1200.5, "perDay()": 120e3, "fluidAge()": 62000e3, "fluidHours()": 7200,
		`rate("Fe")`: 2e-6, `ratePer100h("Cu")`: 1e-6,
		`litresTo("Na 15")`: 12, `exchangesTo("Na 15")`: 3,
		`since("oil")`: 400e3, `hoursSince("oil")`: 36e3, `daysSince("oil")`: 12, `dueIn("oil")`: -5e3, `daysToDue("oil")`: -3,
	}
	truths := map[string]bool{`done("oil")`: true, `done("never")`: false, `below("Cu")`: false, `metalsFell()`: true, `outOfControl("Fe")`: false, `madeIsReal("Fe")`: false,
		`ewmaOut("Fe")`: false, `cusumOut("Fe")`: true}
	numbers[`viscosityAt("-20")`], numbers[`iso4406("particles14")`], numbers["acidCrossing()"], numbers["acidCrossingHours()"] = 4000, 16, 3000e3, 72e3
	for _, c := range []struct{ raise, want string }{
		{`value("Fe") > 99`, "raised"},
		{`value("Fe") > 100`, "clear"},
		{`value("Fe") >= 100`, "raised"},
		{`value("Fe") < 100`, "clear"},
		{`value("Fe") <= 100`, "raised"},
		{`value("Fe") == 100 && value("Fe") != 99`, "raised"},
		{`90 < value("Fe") < 110`, "raised"},
		{`-value("Fe") < +1 and not (value("Fe") < 1)`, "raised"},
		// Units: metres and seconds become the book's.
		{`odometer() == 81234.5`, "raised"},
		{`hours() == 1200.5 && fluidHours() == 2`, "raised"},
		{`perDay() == 120 && fluidAge() == 62000`, "raised"},
		{`rate("Fe") == 2`, "raised"}, // 2e-6 a metre is 2 per 1,000 km
		{`ratePer100h("Cu") == 0.36`, "raised"},
		{`rate("Cu") > 0`, "missing Cu for rate"}, // known by hours alone
		{`ratePer100h("Fe") > 0`, "missing Fe for ratePer100h"},
		{`since("oil") == 400 && hoursSince("oil") == 10 && daysSince("oil") == 12`, "raised"},
		{`dueIn("oil") == -5 && daysToDue("oil") == -3 && done("oil")`, "raised"},
		// Equal is reached, relatively within 1e-9.
		{`value("Si") * 3 >= 9.9`, "raised"},
		{`value("Si") * 3 > 9.9`, "clear"},
		{`value("Si") * 3 == 9.9`, "raised"},
		{`value("Fe") >= 100.0000000999`, "raised"},
		{`value("Fe") >= 100.00001`, "clear"},
		{`value("Si") * 3 in [1, 9.9]`, "raised"},
		// Text.
		{`vehicle.name == "bus-07" && vehicle.kind in ["van", "minibus"]`, "raised"},
		{`vehicle.tags["road"] == "hills" && vehicle.tags.road == "hills"`, "raised"},
		{`vehicle.tags["depot"] == ""`, "raised"},
		{`vehicle.kind not in ["van"]`, "raised"},
		{`vehicle.name startsWith "bus" && vehicle.name endsWith "07" && vehicle.name contains "-"`, "raised"},
		{`vehicle.name matches "^bus-[0-9]+$"`, "raised"},
		{`component.kind == "automatic transmission" && component.fluid == "ATF" && component.capacity == 8`, "raised"},
		{`lower("ATF") == "atf"`, "raised"},
		// Functions.
		{`round(times("Cu"), 1) == 3.3 && round(times("Cu")) == 3 && round(odometer(), -3) == 81000`, "raised"},
		{`max(1, value("Fe"), 3) == 100 && min(1, 2) == 1 && abs(change("K")) == 2`, "raised"},
		{`floor(2.7) == 2 && ceil(2.1) == 3`, "raised"},
		{`let x = times("Cu"); x > 3 && x < 4`, "raised"},
		{`let name = vehicle.name; let far = odometer() > 1; far && name == "bus-07"`, "raised"},
		{`(value("Fe") > 50 ? 1 : 2) == 1 && (value("Fe") < 50 ? "a" : "b") == "b" && (true ? true : false)`, "raised"},
		{`if value("Fe") > 50 { true } else { false }`, "raised"},
		// Missing: but not where another operand decides, on either side.
		{`value("Pb") > 3`, "missing Pb for value"},
		{`value("Fe") > 50 || value("Pb") > 3`, "raised"},
		{`value("Pb") > 3 || value("Fe") > 50`, "raised"},
		{`value("Fe") < 50 && value("Pb") > 3`, "clear"},
		{`value("Pb") > 3 && value("Fe") < 50`, "clear"},
		{`value("Fe") > 100 || value("Pb") > 3`, "missing Pb for value"},
		{`not (value("Fe") > 99 && value("Pb") > 3)`, "missing Pb for value"},
		{`(value("Pb") > 3 || value("Fe") > 50) && value("Al") > 3`, "missing Al for value"},
		{`(value("Fe") > 50 ? 1 : value("Pb")) == 1`, "raised"},
		{`(value("Pb") > 50 ? 1 : value("Al")) == 1`, "missing Pb for value"},
		{`let x = value("Pb") > 3; value("Fe") > 50 || x`, "raised"},
		{`let x = value("Pb"); value("Fe") > 100 || x > 3`, "missing Pb for value"},
		{`value("Pb") / value("Pb") > 3`, "missing Pb for value"},
		{`component.capacity > 5 || value("Pb") > 3`, "raised"},
		// Missing, and all that it could be gives one answer.
		{`max(value("Fe"), value("Pb")) > 50`, "raised"},
		{`max(value("Pb"), value("Fe")) > 150`, "missing Pb for value"},
		{`min(value("Fe"), value("Pb")) > 150`, "clear"},
		{`value("Fe") + value("Pb") > 50`, "raised"}, // no concentration is under zero
		{`value("Fe") - value("Pb") > 150`, "clear"},
		{`value("Fe") + change("Pb") > 50`, "missing Pb for change"},
		{`50 < value("Fe") + 2 * value("Pb") / 3`, "raised"},
		{`value("Fe") + value("Pb") * times("Cu") > 50`, "raised"},
		{`value("Fe") + value("Pb") * (change("Al") / value("Fe")) > 50`, "missing Al for change, Pb for value"},
		{`value("Fe") / value("Pb") > 3`, "missing Pb for value"},
		{`value("Fe") + value("Pb") == 50`, "clear"},
		{`value("Fe") + value("Pb") != 50`, "raised"},
		{`value("Fe") + value("Pb") == 150`, "missing Pb for value"},
		{`round(value("Fe") + floor(value("Pb"))) > 50 && abs(value("Pb") + 60) > 50`, "raised"},
		{`abs(value("Pb") - 60) > 50`, "missing Pb for value"},
		{`-value("Fe") - value("Pb") < -50`, "raised"},
		{`let sum = value("Pb") + value("Fe"); sum > 50 && sum > 60`, "raised"},
		{`value("Pb") > 3 ? value("Fe") > 50 : value("Fe") > 60`, "raised"},
		{`value("Pb") > 3 ? value("Fe") > 50 : value("Fe") > 100`, "missing Pb for value"},
		{`(value("Pb") > 3 ? value("Fe") : value("Fe") - 10) > 50`, "raised"},
		{`(value("Pb") > 3 ? "a" : "b") in ["a", "b"]`, "missing Pb for value"},
		{`(value("Pb") > 3 ? "a" : "a") == "a"`, "raised"},
		// What was done guards what asks about it.
		{`!done("never") || daysSince("never") > 90`, "raised"},
		{`daysSince("never") > 90 || !done("never")`, "raised"},
		{`done("never") && daysSince("never") > 90`, "clear"},
		{`let d = done("never"); d && daysSince("never") > 90`, "clear"},
		{`done("never") ? daysSince("never") > 90 : odometer() > 5`, "raised"},
		{`!done("oil") || daysSince("oil") > 90`, "clear"},
		{`done("oil") && since("never") > 5`, "missing never for since"},
		{`value("Pb") > 3 && value("Al") > change("Al") && value("Pb") < 9`, "missing Al for change, Al for value, Pb for value"},
		{`below("Pb")`, "missing Pb for below"},
		// Guards. A rule that looked at no result did not judge.
		{`has("Fe") && value("Fe") > 50`, "raised"},
		{`has("Pb") && value("Pb") > 3`, "missing Pb for has"},
		{`hasEarlier("Pb") && change("Pb") > 3`, "missing Pb for hasEarlier"},
		{`value("Fe") > 99 && (!hasEarlier("Fe") || change("Fe") > 0)`, "raised"},
		{`hasEarlier("K") ? change("K") < 0 : true`, "raised"},
		{`change("Pb") > 3 && hasEarlier("Pb")`, "missing Pb for hasEarlier"},
		{`litresTo("Na", 15) == 12 && exchangesTo("Na", 15) == 3`, "raised"},
		{`metalsFell() || outOfControl("Fe") && madeIsReal("Fe")`, "raised"},
		{`!ewmaOut("Fe") && cusumOut("Fe")`, "raised"},
		{`viscosityAt(-20) == 4000 && acidCrossing() == 3000 && acidCrossingHours() == 20`, "raised"},
		{`viscosityAt(2 * 10) > 1`, "missing 20 for viscosityAt"},
		{`iso4406("particles14") == 16`, "raised"},
		{`has("particles6") && as4059("particles6") > 3`, "missing particles6 for has"},
		{`!has("Pb") || value("Pb") > 3`, "raised"},
		{`has("Pb") && value("Pb") > 3 || value("Fe") > 100`, "clear"},
		{`let h = has("Pb"); h && value("Pb") > 3 || value("Fe") > 50`, "raised"},
		{`(has("Pb") ? value("Pb") : 0) == 0`, "raised"},
		{`(!has("Pb") ? 0 : value("Pb")) == 0`, "raised"},
		{`(not has("Pb") || value("Pb") < 3) && value("Fe") > 50`, "raised"},
		{`has("Pb") && has("Al") && value("Pb") + value("Al") > 3`, "missing Pb for has"},
		{`!(has("Pb") && value("Fe") > 1) || value("Pb") > 3`, "raised"},
		{`(has("Pb") || value("Fe") > 50) && value("Pb") > 3`, "missing Pb for value"}, // either may be why it is true
		{`!(has("Pb") && value("Fe") < 50) && value("Pb") > 3`, "missing Pb for value"},
		{`!(!has("Pb") || value("Fe") < 1) && value("Pb") > 3`, "missing Pb for has"},
		{`has("Pb") && (value("Fe") > 50 || value("Pb") > 3)`, "missing Pb for has"},
		{`has("Pb") || value("Pb") > 3`, "missing Pb for value"},
		{`value("Pb") > 3 && has("Pb")`, "missing Pb for has"},
		{`has("Pb") && value("Al") > 3`, "missing Pb for has"},
		{`has("Fe") && change("Fe") > 3`, "missing Fe for change"}, // met at run time
		{`has("Pb") && value("Pb") > 3 || value("Pb") > 9`, "missing Pb for value"},
		// Not finite: also inside a comparison, and where not() would hide it.
		{`value("Fe") / value("Cu") > 3`, `missing a number that is not finite: value("Fe") / value("Cu")`},
		{`value("Cu") / fresh("K") >= 3`, `missing a number that is not finite: value("Cu") / fresh("K")`},
		{`not (value("Cu") / fresh("K") >= 3)`, `missing a number that is not finite: value("Cu") / fresh("K")`},
		{`value("Cu") != 0 && value("Fe") / value("Cu") > 3`, "clear"},
		{`1e200 * value("Fe") * 1e200 > 1`, `missing a number that is not finite: 1e+200 * value("Fe") * 1e+200`},
	} {
		b := patternBook(t, c.raise)
		j := NewJudge(b)
		f := &fakeFacts{comp: gearbox, numbers: numbers, truths: truths}
		for run := range 2 { // the second run finds nothing left of the first
			if got := outcome(j.Run(b.Rules[0], f)); got != c.want {
				t.Errorf("%s (run %d)\n got %s\nwant %s", c.raise, run, got, c.want)
			}
		}
	}
}

// outcome tells a pattern's judgement in a word.
func outcome(got Judged) string {
	var out []string
	if got.Missing != nil {
		out = append(out, "missing "+strings.Join(got.Missing, ", "))
	}
	for _, e := range got.Ends {
		switch {
		case e.Raise && !e.Clear:
			out = append(out, "raised")
		case e.Clear && !e.Raise:
			out = append(out, "clear")
		default:
			out = append(out, fmt.Sprint(e.Raise, e.Clear))
		}
	}
	return strings.Join(out, " or ")
}

// What is not a number is missing, wherever it comes from.
func TestAnswersThatAreNotFinite(t *testing.T) {
	for _, v := range []float64{nan, inf(1), inf(-1)} {
		b := patternBook(t, `value("Fe") > 3`)
		got := NewJudge(b).Run(b.Rules[0], &fakeFacts{comp: gearbox, numbers: map[string]float64{`value("Fe")`: v}})
		if want := []string{`a number that is not finite: value("Fe")`}; !reflect.DeepEqual(got.Missing, want) || got.Ends != nil {
			t.Errorf("%v: %+v", v, got)
		}
	}
}

func measuredBook(t testing.TB, body string) *Book {
	t.Helper()
	return load(t, "book: 1\nbaselines: {b: {source: invented, fluid age: 60000 km, mean: {Fe: 90, Cu: 40, Pb: 10}}}\n"+
		"rules:\n  r:\n    on: sample\n"+body)
}

// A censored result stands for both its ends.
func TestCensoredEnds(t *testing.T) {
	b := measuredBook(t, "    measure: value(\"Pb\") + value(\"Cu\") + value(\"Fe\")\n    above: {caution: 10, warning: 100 + value(\"Pb\")}\n")
	f := func() *fakeFacts {
		return &fakeFacts{comp: gearbox, numbers: map[string]float64{`value("Fe")`: 7},
			ends: map[string][2]float64{`value("Pb")`: {0, 1}, `value("Cu")`: {0, 2}}}
	}
	end := func(measure, warning float64) End {
		return End{Measure: measure, Limits: [4]float64{nan, nan, 10, warning}}
	}
	facts := f()
	got := NewJudge(b).Run(b.Rules[0], facts)
	want := []End{end(7, 100), end(8, 101), end(9, 100), end(10, 101)}
	if len(got.Ends) != 4 || got.Missing != nil || facts.mask != 0 {
		t.Fatalf("got %+v, mask %d", got, facts.mask)
	}
	for i := range want {
		if !got.Ends[i].same(want[i]) {
			t.Errorf("end %d: got %+v want %+v", i, got.Ends[i], want[i])
		}
	}
	// Ends that are equal are told once; a result met only at another's upper end counts too.
	b = patternBook(t, `value("Pb") < 0.5 || value("Cu") < 1`)
	if got := outcome(NewJudge(b).Run(b.Rules[0], f())); got != "raised or clear" {
		t.Error(got)
	}
	b = patternBook(t, `value("Pb") < 5`)
	if got := outcome(NewJudge(b).Run(b.Rules[0], f())); got != "raised" {
		t.Error(got)
	}
	b = patternBook(t, `has("Cu") && value("Pb") > 0.5 && value("Cu") > 1`)
	if got := outcome(NewJudge(b).Run(b.Rules[0], f())); got != "clear or raised" {
		t.Error(got)
	}
}

func TestTooManyCensoredResults(t *testing.T) {
	analytes := []string{"Fe", "Cu", "Pb", "Al", "Si", "Na", "K"}
	f := &fakeFacts{comp: gearbox, ends: map[string][2]float64{}}
	var terms []string
	for i, a := range analytes {
		terms = append(terms, fmt.Sprintf("value(%q)", a))
		f.ends[terms[i]] = [2]float64{0, 1}
		if i < 5 {
			continue
		}
		b := patternBook(t, strings.Join(terms, " + ")+" > 100")
		f.censored = nil
		want := map[int]string{5: "clear", 6: "missing results above their limits (too many are below)"}[i]
		if got := outcome(NewJudge(b).Run(b.Rules[0], f)); got != want {
			t.Errorf("%d results: %s", i+1, got)
		}
	}
}

func TestNumber(t *testing.T) {
	b := load(t, `book: 1
tasks:
  oil:
    where: component.kind != ""
    every: {distance: 1 km}
    shorten: 'value("Pb") > 0.5 ? 0.5 : value("Fe") > 50 ? 0.75 : value("Fe") < -2 ? -2 : value("Fe") < 0 ? 0 : 1'
`)
	shorten, j := b.Tasks[0].Shorten, NewJudge(b)
	for _, c := range []struct {
		numbers map[string]float64
		ends    map[string][2]float64
		want    float64
		missing []string
	}{
		{numbers: map[string]float64{`value("Fe")`: 60, `value("Pb")`: 0}, want: 0.75},
		{numbers: map[string]float64{`value("Fe")`: 60}, missing: []string{"Pb for value"}},
		{numbers: map[string]float64{`value("Fe")`: 60}, ends: map[string][2]float64{`value("Pb")`: {0, 0.4}}, want: 0.75},
		{numbers: map[string]float64{`value("Fe")`: 60}, ends: map[string][2]float64{`value("Pb")`: {0, 1}},
			missing: []string{"one number for both ends of a result below its limit"}},
		{numbers: map[string]float64{`value("Fe")`: -1, `value("Pb")`: 0}, missing: []string{"a number above 0 (it gives 0)"}},
		{numbers: map[string]float64{`value("Fe")`: -3, `value("Pb")`: 0}, missing: []string{"a number above 0 (it gives -2)"}},
	} {
		got, missing := j.Number(shorten, &fakeFacts{comp: gearbox, numbers: c.numbers, ends: c.ends})
		if got != c.want || !reflect.DeepEqual(missing, c.missing) {
			t.Errorf("%v %v: got %v %v", c.numbers, c.ends, got, missing)
		}
	}
}

func TestWhy(t *testing.T) {
	numbers := map[string]float64{`value("Na")`: 26, `fresh("Na")`: 6, `value("K")`: 3, `change("K")`: 1, `times("Cu")`: 3.275, `value("Cu")`: 131,
		`value("Fe")`: 200, `times("Fe")`: 2, `ratePer100h("Fe")`: 1e-6}
	for _, c := range []struct {
		body string
		want []word.Evidence
	}{
		{"    raise: value(\"Na\") - fresh(\"Na\") > 15 && value(\"K\") > 10 && change(\"K\") > 0\n    stage: warning\n",
			[]word.Evidence{{Of: `value("Na")`, Value: 26, Unit: "mg/kg", Note: "revision 2"}, {Of: `fresh("Na")`, Value: 6, Unit: "mg/kg"}, {Of: `value("Na") - fresh("Na")`, Value: 20}, {Of: `value("K")`, Value: 3, Unit: "mg/kg"}}},
		{"    measure: times(\"Cu\")\n    above: {advisory: 2, caution: 3}\n", []word.Evidence{{Of: `times("Cu")`, Value: 3.275, Note: "baseline b, invented"}}},
		{"    measure: value(\"Cu\") / times(\"Cu\")\n    above: {advisory: 2 * value(\"Na\"), warning: 1000}\n",
			[]word.Evidence{{Of: `value("Cu")`, Value: 131, Unit: "mg/kg"}, {Of: `times("Cu")`, Value: 3.275, Note: "baseline b, invented"}, {Of: `value("Na")`, Value: 26, Unit: "mg/kg", Note: "revision 2"},
				{Of: `value("Cu") / times("Cu")`, Value: 40}, {Of: `2 * value("Na")`, Value: 52}}},
		{"    raise: has(\"Cu\") && !below(\"Cu\") && ratePer100h(\"Fe\") > 0\n    stage: caution\n",
			[]word.Evidence{{Of: `below("Cu")`, Value: 0, Note: "no"}, {Of: `ratePer100h("Fe")`, Value: 0.36, Unit: "mg/kg per 100 h", Note: "by hours"}}},
		// What chooses is told by what it asked, not as a program.
		{"    measure: times(\"Cu\")\n    above:\n      caution: 'value(\"Cu\") < 20 ? 9 : 3'\n",
			[]word.Evidence{{Of: `times("Cu")`, Value: 3.275, Note: "baseline b, invented"}, {Of: `value("Cu")`, Value: 131, Unit: "mg/kg"}}},
		{"    raise: '(has(\"Cu\") ? value(\"Cu\") : 0) > 3'\n    stage: caution\n", []word.Evidence{{Of: `value("Cu")`, Value: 131, Unit: "mg/kg"}}},
		{"    raise: let x = value(\"Fe\") * 2; x > 3 && component.capacity < 10\n    stage: caution\n",
			[]word.Evidence{{Of: `value("Fe")`, Value: 200, Unit: "mg/kg"}, {Of: `value("Fe") * 2`, Value: 400}, {Of: "component.capacity", Value: 8, Unit: "L"}}},
	} {
		b := measuredBook(t, c.body)
		j := NewJudge(b)
		f := &fakeFacts{comp: gearbox, numbers: numbers, notes: map[string]string{`times("Cu")`: "baseline b, invented", `value("Na")`: "revision 2", `ratePer100h("Fe")`: "by hours"}}
		judged := j.Run(b.Rules[0], f)
		if judged.Missing != nil {
			t.Fatalf("%s: missing %v", c.body, judged.Missing)
		}
		if got := j.Why(b.Rules[0], f, judged.Ends[0]); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%sgot  %v\nwant %v", c.body, got, c.want)
		}
	}
}

// Why shows the values of the end that is asked about.
func TestWhyOfAnEnd(t *testing.T) {
	b := measuredBook(t, "    measure: value(\"Pb\")\n    above: {caution: 1}\n")
	j := NewJudge(b)
	f := &fakeFacts{comp: gearbox, ends: map[string][2]float64{`value("Pb")`: {0, 1}}}
	for i, e := range j.Run(b.Rules[0], f).Ends {
		if got, want := j.Why(b.Rules[0], f, e), []word.Evidence{{Of: `value("Pb")`, Value: float64(i), Unit: "mg/kg"}}; !reflect.DeepEqual(got, want) {
			t.Errorf("end %d: %v", i, got)
		}
	}
	// An end that no longer comes out shows the lower ends.
	if got := j.Why(b.Rules[0], f, End{Measure: 99}); len(got) != 1 || got[0].Value != 0 {
		t.Error(got)
	}
}

func TestSayAndAdvise(t *testing.T) {
	b := measuredBook(t, `    measure: times("Cu")
    above: {advisory: 2, caution: 3}
    say: >
      ${stage}: Copper ${value("Cu")} is ${round(measure, 1)} times on ${vehicle.name}/${component.name};
      lead ${value("Pb")}, $${x} {y} $5, tin ${value("Sn")}, more: ${measure > 3 ? "m}ore" : 'le"ss'} ${has("Cu")} ${measure / value("Zn")}
    advise:
      caution: Look within ${round(odometer() / 3, 0)} km.
  bare: {on: clock, title: Bare, raise: perDay() > 1, stage: caution}
`)
	j := NewJudge(b)
	f := &fakeFacts{comp: gearbox, numbers: map[string]float64{`value("Cu")`: 131.1, `times("Cu")`: 3.275, "odometer()": 3e6, `value("Zn")`: 0},
		ends: map[string][2]float64{`value("Pb")`: {0, 1}}}
	r := b.Rules[1]
	want := `caution: Copper 131.1 is 3.3 times on bus-07/gearbox; lead below 1, ${x} {y} $5, tin n/a, more: m}ore yes n/a`
	if got := j.Say(r, Caution, f, 3.275); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	f.numbers[`times("Cu")`] = 2
	if got := j.Say(r, Advisory, f, 2); !strings.Contains(got, `advisory: `) || !strings.Contains(got, `le"ss`) {
		t.Error(got)
	}
	if got := []string{j.Advise(r, Caution, f, 3), j.Advise(r, Advisory, f, 3), j.Advise(r, 9, f, 3), j.Say(b.Rules[0], Caution, f, 0)}; !reflect.DeepEqual(got,
		[]string{"Look within 1,000 km.", "", "", "Bare"}) {
		t.Errorf("%q", got)
	}
}

func TestMatches(t *testing.T) {
	b := load(t, `book: 1
tasks:
  big: {every: {time: 7 days}, where: component.capacity > 5}
`)
	j, f := NewJudge(b), &fakeFacts{}
	engine := word.Component{Name: "a engine", Kind: "engine"}
	big := b.Tasks[0].Where
	if ok, err := j.Matches(big, f.Vehicle(), &engine); ok || !slices.Equal(err, []string{"the component's capacity"}) {
		t.Error(ok, err)
	}
	if ok, err := j.Matches(big, f.Vehicle(), nil); ok || err != nil {
		t.Error(ok, err)
	}
	if ok, err := j.Matches(nil, f.Vehicle(), nil); !ok || err != nil {
		t.Error(ok, err)
	}
}

// A word that stands in several expressions of a rule is asked once a run.
func TestEachQuestionIsAskedOnce(t *testing.T) {
	b := measuredBook(t, "    measure: times(\"Cu\") * times(\"Cu\")\n    above: {caution: times(\"Cu\") + 1}\n")
	f := &fakeFacts{comp: gearbox, numbers: map[string]float64{`times("Cu")`: 2}}
	NewJudge(b).Run(b.Rules[0], f)
	if !reflect.DeepEqual(f.asked, []string{`times("Cu")`}) {
		t.Error(f.asked)
	}
}
