package cases_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/cases"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
	"telltale/rules/unit"
)

const book = `book: 1
baselines:
  b: {where: component.kind == "automatic transmission", fluid age: 60000 km, source: invented, mean: {Cu: 40, Fe: 90}}
tasks:
  gearbox: {title: Look at it, every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading}
rules:
  copper over baseline:
    on: sample
    where: component.kind == "automatic transmission"
    measure: times("Cu")
    above: {advisory: 2, caution: 3}
    deadband: 10%
    follow up: {resample: {within: {time: 90 days}, settled by: sample}}
cases:
  it:
`

const vehicle = `2031-01-02 vehicle bus-07 minibus meter odometer component transmission "automatic transmission" fluid ATF capacity 8 L`

func run(t *testing.T, text string) (string, []cases.Gap) {
	t.Helper()
	b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(book + text)}})
	if err != nil {
		return err.Error(), nil
	}
	register, err := intake.Register("vehicles.yaml", []byte("vehicles:\n  bus-01: {kind: minibus, meters: {odometer: distance}}\n"), time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	results, gaps := cases.Run(b, register)
	var out []string
	for i := range results {
		if s := results[i].String(); s != "" {
			out = append(out, s)
		}
		if results[i].OK() != (results[i].String() == "") {
			t.Error("a case is told that came out, or one is not that failed")
		}
	}
	return strings.Join(out, "\n"), gaps
}

// Each case, and what is told of it: nothing where it came out as expected.
func TestCases(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"as expected", `
    given:
      - ` + vehicle + `
      - 2031-04-02 sample bus-07 transmission odo 81200 Cu 131
      - 2031-06-02 sample bus-07 transmission odo 91200 Cu 60
    expect:
      - {on: 2031-06-02, rule: copper over baseline, transition: cleared}
      - {on: 2031-04-02, rule: copper over baseline, vehicle: bus-07, component: transmission, to: caution}
`, ``},
		{"not as expected", `
    given:
      - ` + vehicle + `
      - 2031-04-02 sample bus-07 transmission odo 81200 Cu 90
      - 2031-04-03 answer bus-07 acknowledge "copper over baseline" on transmission by ines
      - 2031-05-02 sample bus-07 transmission odo 82200 Fe 90
      - 2031-06-02 sample bus-07 transmission odo 91200 Cu 60
    expect: [{on: 2031-04-02, rule: copper over baseline, to: caution}, {on: 2031-06-02, rule: copper over baseline, to: normal}]
`, `a.yaml:15:3: case "it" fails
                expected                       got
  ! 2031-04-02  copper over baseline: caution  -
  ! 2031-04-02  -                              bus-07 transmission copper over baseline: raised advisory
    2031-06-02  copper over baseline: normal   bus-07 transmission copper over baseline: cleared normal
  note: 2031-05-02 copper over baseline could not be judged without copper (Cu) in the sample`},
		{"none of what it speaks of", `
    given: [2031-01-02 reading bus-01 odometer 0 km, 2031-02-02 reading bus-01 odometer 1500 km]
    expect: none
    of: copper over baseline
`, ``},
		{"none at all", `
    given: [2031-01-02 reading bus-01 odometer 0 km, 2031-02-02 reading bus-01 odometer 1000 km]
    expect: none
`, `a.yaml:15:3: case "it" fails
                expected  got
  ! 2031-02-02  -         bus-01 gearbox: raised due`},
		{"an answer that is expected, and a follow-up", `
    given:
      - ` + vehicle + `
      - 2031-04-02 sample bus-07 transmission odo 81200 Cu 131
      - 2031-04-03 answer bus-07 acknowledge "copper over baseline" on transmission by ines
      - 2031-07-02 tick
    expect:
      - {on: 2031-04-02, rule: copper over baseline, to: caution}
      - {on: 2031-04-02, rule: resample, to: soon}
      - {on: 2031-04-03, rule: copper over baseline, transition: acknowledged}
      - {on: 2031-07-01, rule: resample, to: due}
      - {on: 2031-07-02, rule: resample, to: overdue}
`, ``},
		{"a number that is none", `
    given:
      - '2031-04-02 sample bus-07 transmission odo 81200 Cu x'
    expect: none
`, `case "it" cannot be run:
a.yaml:17:61: Cu: "x" is not a number, nor one like <5
          - '2031-04-02 sample bus-07 transmission odo 81200 Cu x'
                                                                ^
hint: for example: 2031-02-10 sample bus-07 transmission odo 81200 age 62000 Cu 131 Pb <1`},
		{"averages that cannot be", `
    given:
      - '2031-04-02 sample bus-07 transmission Cu 131 average Cu <4'
      - 2031-04-03 sample bus-07 transmission Cu 131 average Cu 4 Fe 38 at 60000 km
      - 2031-04-04 sample bus-07 transmission Cu 131 average odo 4
      - 2031-04-05 sample bus-07 transmission Cu 131 average
    expect: none
`, `case "it" cannot be run:
a.yaml:17:66: an average is a number, not one like <5
          - '2031-04-02 sample bus-07 transmission Cu 131 average Cu <4'
                                                                     ^^
hint: for example: 2031-02-10 sample bus-07 transmission odo 81200 age 62000 Cu 131 Pb <1
a.yaml:18:67: an average of Fe, but no result of it to compare
          - 2031-04-03 sample bus-07 transmission Cu 131 average Cu 4 Fe 38 at 60000 km
                                                                      ^^
hint: for example: 2031-02-10 sample bus-07 transmission odo 81200 age 62000 Cu 131 Pb <1
a.yaml:19:62: "odo" is not an analyte to give an average of
          - 2031-04-04 sample bus-07 transmission Cu 131 average odo 4
                                                                 ^^^
hint: for example: 2031-02-10 sample bus-07 transmission odo 81200 age 62000 Cu 131 Pb <1
a.yaml:20:61: the line ends before the analyte that it is the average of
          - 2031-04-05 sample bus-07 transmission Cu 131 average
                                                                ^
hint: for example: 2031-02-10 sample bus-07 transmission odo 81200 age 62000 Cu 131 Pb <1`},
		{"a line that ends too early, a kind that is none", `
    given: [2031-04-02 reading bus-01 odometer, 2031-04-02 fill bus-01 3]
    expect: none
`, `case "it" cannot be run:
a.yaml:16:47: the line ends before its value
        given: [2031-04-02 reading bus-01 odometer, 2031-04-02 fill bus-01 3]
                                                  ^
hint: for example: 2031-01-03 reading bus-07 odometer 81234 km
a.yaml:16:60: "fill" is none of vehicle, reading, replaced, sample, measured, service, answer, void, tick (nor, in a case, baseline)
        given: [2031-04-02 reading bus-01 odometer, 2031-04-02 fill bus-01 3]
                                                               ^^^^
hint: for example: 2031-02-10 sample bus-07 transmission odo 81200 age 62000 Cu 131 Pb <1`},
		{"an event that is refused", `
    given: [2031-04-02 reading bus-01 hubometer 3 km]
    expect: none
`, `case "it" cannot be run:
a.yaml:16:13: the event is refused: vehicle bus-01 has no meter "hubometer"
        given: [2031-04-02 reading bus-01 hubometer 3 km]
                ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^`},
		{"a vehicle that nobody knows", `
    given: [2031-04-02 reading van-03 odometer 3 km]
    expect: none
`, `case "it" cannot be run:
a.yaml:16:13: neither the case nor the register has a vehicle "van-03"
        given: [2031-04-02 reading van-03 odometer 3 km]
                ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^
hint: begin the case with it: 2031-01-02 vehicle van-03 minibus meter odometer component transmission "automatic transmission" fluid ATF capacity 8 L`},
		{"expectations that cannot be", `
    given: [2031-04-02 tick, {on: 2031}]
    expect: [{on: 2 April, rule: coper over baseline, to: warning}, {on: 2031-04-02, rule: gearbox, to: caution}, {on: 2031-04-02, rule: gearbox}]
`, `a.yaml:16:30: an event of a case must be one line of text, not a mapping
        given: [2031-04-02 tick, {on: 2031}]
                                 ^
hint: an event that holds ` + "`: `" + `, or begins with ` + "`[` or `{`" + `, must be quoted as a whole
a.yaml:17:19: "2 April" is not a date
        expect: [{on: 2 April, rule: coper over baseline, to: warning}, {on: 2031-04-02, rule: gearbox, to: caution}, {on: 2031-04-02, rule: gearbox}]
                      ^^^^^^^
hint: write it as 2031-04-02
a.yaml:17:34: there is no rule, task or follow-up "coper over baseline"
        expect: [{on: 2 April, rule: coper over baseline, to: warning}, {on: 2031-04-02, rule: gearbox, to: caution}, {on: 2031-04-02, rule: gearbox}]
                                     ^^^^^^^^^^^^^^^^^^^
hint: did you mean ` + "`copper over baseline`" + `?
a.yaml:17:59: to must be normal, soon, due or overdue, not "warning"
        expect: [{on: 2 April, rule: coper over baseline, to: warning}, {on: 2031-04-02, rule: gearbox, to: caution}, {on: 2031-04-02, rule: gearbox}]
                                                              ^^^^^^^
a.yaml:17:105: to must be normal, soon, due or overdue, not "caution"
        expect: [{on: 2 April, rule: coper over baseline, to: warning}, {on: 2031-04-02, rule: gearbox, to: caution}, {on: 2031-04-02, rule: gearbox}]
                                                                                                            ^^^^^^^
a.yaml:17:115: an expected transition needs ` + "`to` or `transition`" + `
        expect: [{on: 2 April, rule: coper over baseline, to: warning}, {on: 2031-04-02, rule: gearbox, to: caution}, {on: 2031-04-02, rule: gearbox}]
                                                                                                                      ^
hint: write ` + "`to: caution`, or `transition: cleared`"},
	} {
		if got, _ := run(t, strings.TrimPrefix(c.text, "\n")); got != c.want {
			t.Errorf("%s: got:\n%s\nwant:\n%s", c.name, got, c.want)
		}
	}
}

func TestCover(t *testing.T) {
	_, gaps := run(t, `    given:
      - `+vehicle+`
      - 2031-04-02 sample bus-07 transmission odo 81200 Cu 90
      - 2031-06-02 sample bus-07 transmission odo 91200 Cu 60
    expect: [{on: 2031-04-02, rule: copper over baseline, to: advisory}, {on: 2031-06-02, rule: copper over baseline, to: normal}]
`)
	want := `[copper over baseline: no case raises caution; no case clears caution ` +
		`gearbox: no case raises soon, due; no case clears soon, due, overdue]`
	if got := fmt.Sprint(gaps); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// A case may say what is usual in the fleet instead of giving the samples that make it.
const fleetBook = `book: 1
baselines:
  engine oil of the fleet:
    where: component.kind == "diesel engine"
    from: fleet
    group by: [component.fluid, vehicle.kind]
    at least: {samples: 6, vehicles: 3}
rules:
  iron over the fleet: {on: sample, measure: times("Fe"), above: {advisory: 2, caution: 3}}
  iron for its age: {on: sample, measure: timesForAge("Fe"), above: {advisory: 4}}
  iron among its like: {on: sample, measure: percentile("Fe"), above: {advisory: 80}}
cases:
  it:
`

func TestBaselineInCase(t *testing.T) {
	const bus = `
      - 2031-01-02 vehicle bus-01 bus meter odometer component engine "diesel engine" fluid 15W-40
      - 2031-01-02 vehicle van-01 van meter odometer component engine "diesel engine" fluid 5W-30`
	for _, c := range []struct{ name, text, want string }{
		{"a mean, another group beside it, and one in place of it", `
    given:` + bus + `
      - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 10000 km Fe 20
      - 2031-02-01 baseline "engine oil of the fleet" of 5W-30 of van Fe 10
      - 2031-02-10 sample bus-01 engine odo 90000 age 30000 Fe 50
      - 2031-02-10 sample van-01 engine odo 90000 age 30000 Fe 31
      - 2031-03-01 baseline "engine oil of the fleet" of 15W-40 of bus age 30000 km Fe 60
      - 2031-03-10 sample bus-01 engine odo 91000 age 31000 Fe 61
    expect:
      - {on: 2031-02-10, vehicle: bus-01, rule: iron over the fleet, to: advisory}
      - {on: 2031-02-10, vehicle: van-01, rule: iron over the fleet, to: caution}
      - {on: 2031-03-10, vehicle: bus-01, rule: iron over the fleet, to: normal}
    of: iron over the fleet
`, ``},
		{"values, of which the place is known", `
    given:` + bus + `
      - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus Fe 18 19 20 21 22 23 24 25 26
      - 2031-02-10 sample bus-01 engine odo 90000 Fe 22
      - 2031-02-11 sample bus-01 engine odo 90100 Fe 26
    expect: [{on: 2031-02-11, rule: iron among its like, to: advisory}]
    of: iron among its like
`, ``},
		{"too few", `
    given:` + bus + `
      - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus samples 5 Fe 20
      - 2031-02-10 sample bus-01 engine odo 90000 Fe 90
    expect: [{on: 2031-02-10, rule: iron over the fleet, to: caution}]
    of: iron over the fleet
`, `a.yaml:13:3: case "it" fails
                expected                      got
  ! 2031-02-10  iron over the fleet: caution  -
  note: 2031-02-10 iron over the fleet could not be judged without enough samples of 15W-40, bus for Fe in the fleet's baseline "engine oil of the fleet" (there were 5 samples from 3 vehicles; it needs 6 samples from 3 vehicles)`},
		{"what is wrong", `
    given:
      - 2031-02-01 baseline "oil" of 15W-40 of bus Fe 20
      - 2031-02-01 baseline "engine oil of the fleet" of bus Fe 20
      - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus Fe -3
      - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus samples none age 3 L
      - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus iron 20
    expect: none
`, `case "it" cannot be run:
a.yaml:15:29: "oil" is not a baseline that is made from the fleet (those are "engine oil of the fleet")
          - 2031-02-01 baseline "oil" of 15W-40 of bus Fe 20
                                ^^^^^
hint: for example: 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000 km Fe 21 Pb 1 2 <2
a.yaml:16:20: it groups by component.fluid, vehicle.kind: wanted 2 times ` + "`of`" + `, not 1
          - 2031-02-01 baseline "engine oil of the fleet" of bus Fe 20
                       ^^^^^^^^
hint: for example: 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000 km Fe 21 Pb 1 2 <2
a.yaml:17:75: reading Fe: -3 is negative
          - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus Fe -3
                                                                              ^^
hint: for example: 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000 km Fe 21 Pb 1 2 <2
a.yaml:18:80: "none" is not a number of samples from 1 to 1000
          - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus samples none age 3 L
                                                                                   ^^^^
hint: for example: 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000 km Fe 21 Pb 1 2 <2
a.yaml:19:72: "iron" is not known here
          - 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus iron 20
                                                                           ^^^^
hint: for example: 2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000 km Fe 21 Pb 1 2 <2`},
	} {
		b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(fleetBook + strings.TrimPrefix(c.text, "\n"))}})
		if err != nil {
			t.Fatal(err)
		}
		results, _ := cases.Run(b, nil)
		if got := results[0].String(); got != c.want {
			t.Errorf("%s: got:\n%s\nwant:\n%s", c.name, got, c.want)
		}
	}
}

// The short form that rules/README.md shows is read and used, every line of it.
func TestReadmesShortForm(t *testing.T) {
	raw, err := os.ReadFile("../../rules/README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(raw), "<!-- short form -->\n\n```\n")
	lines, _, ok := strings.Cut(rest, "\n```")
	if !ok {
		t.Fatal("README.md does not show the short form")
	}
	p := engine.NewPartition()
	for i, line := range strings.Split(lines, "\n") {
		ev, err := intake.Short(line, fmt.Sprintf("event %d", i+1), unit.System{Distance: "km", Volume: "L"})
		if err != nil {
			t.Errorf("%s: %v", line, err)
		}
		for _, o := range p.Apply(ev) {
			if o.Refused != nil && ev.Kind != event.AnswerEvent { // there is no such alarm without rules
				t.Errorf("%s: %s", line, o.Refused.Refused)
			}
		}
	}
}

// The cases that rules/README.md shows come out.
func TestReadmesCases(t *testing.T) {
	raw, err := os.ReadFile("../../rules/README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(raw), "```yaml\n")
	text, _, _ := strings.Cut(rest, "```")
	b, err := rules.Load([]rules.File{{Name: "README.md", Text: []byte(text)}})
	if err != nil {
		t.Fatal(err)
	}
	results, _ := cases.Run(b, nil)
	if len(results) != 1 || !results[0].OK() {
		t.Error(results[0].String())
	}
}
