package engine_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/fleet"
)

const fleetRules = `book: 1
baselines:
  engine oil of the fleet:
    where: component.kind == "engine"
    from: fleet
    group by: component.fluid
    at least: {samples: 6, vehicles: 3}
    of the last: 12 months
    over: engine oil of the book
  engine oil of the book:
    where: component.kind == "engine"
    fluid age: 20000 km
    source: invented
    mean: {Fe: 40, Cu: 10}
    fresh: {P: 900}
rules:
  iron:
    on: sample
    measure: times("Fe")
    above: {caution: 3}
    say: Iron is ${round(measure, 2)} times the baseline
  iron for its age:
    on: sample
    measure: timesForAge("Fe")
    above: {caution: 3}
    say: Iron is ${round(measure, 2)} times the baseline for its age
  iron among its like:
    on: sample
    measure: percentile("Fe")
    above: {advisory: 90}
    say: Iron is higher than in ${round(measure, 1)} of 100
  copper:
    on: sample
    measure: times("Cu")
    above: {caution: 3}
    say: Copper is ${round(measure, 2)} times the baseline
  phosphorus:
    on: sample
    measure: kept("P")
    below: {caution: 0.5}
    say: Phosphorus is ${round(measure, 2)} of fresh
`

// fleetOf is a partition with the rules and some vehicles of one engine each.
func fleetOf(tb testing.TB, text string, vehicles ...string) *engine.Partition {
	tb.Helper()
	p := engine.NewPartition()
	p.Apply(bookEvent(load(tb, text)))
	p.Apply(short(tb, "t0", "2031-01-01 tick"))
	for _, v := range vehicles {
		p.Apply(short(tb, "v", "2031-01-01 vehicle "+v+` bus meter odometer component motor engine fluid 15W-40 capacity 20 L`))
	}
	return p
}

// surveyed asks a partition for its part.
func surveyed(tb testing.TB, p *engine.Partition) fleet.SurveyPart {
	tb.Helper()
	out := p.Apply(event.Event{Kind: event.SurveyEvent, Time: p.Now(), Recorded: p.Now(), Data: &fleet.SurveyData{Turn: p.Now().Format(time.RFC3339)}})
	if len(out) != 1 || out[0].Survey == nil {
		tb.Fatalf("a survey is answered by %+v", out)
	}
	return *out[0].Survey
}

func asJSON(tb testing.TB, v any) string {
	tb.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		tb.Fatal(err)
	}
	return string(b)
}

// TestFleetBaselines compares the whole of a small set, made of the parts of two
// partitions, with what was reckoned by hand.
func TestFleetBaselines(t *testing.T) {
	a, b := fleetOf(t, fleetRules, "bus-1", "bus-2"), fleetOf(t, fleetRules, "bus-3", "bus-4", "bus-5")
	for i, line := range []string{
		"2029-12-01 sample bus-1 motor age 9000 Fe 500", // too long ago
		"2030-02-01 sample bus-1 motor age 10000 Fe 20 Cu <2",
		"2030-03-01 sample bus-1 motor age 12000 Fe 24 Cu <2 number twice",
		"2030-03-01 sample bus-1 motor age 12000 Fe 22 Cu <2 number twice revision 1",
		"2030-04-01 sample bus-2 motor Fe 18 Cu 3",
		"2030-04-02 sample bus-2 motor Fe 900 id wrong",
		"2030-04-03 void bus-2 wrong",
	} {
		a.Apply(short(t, fmt.Sprint("a", i), line))
	}
	for i, line := range []string{
		"2030-05-01 sample bus-3 motor age 8000 Fe 19 Cu 5",
		"2030-06-01 sample bus-3 motor age 14000 Fe 21 Cu <2",
		"2030-07-01 sample bus-3 motor age 16000 Fe 26",
		"2030-07-01 sample bus-4 motor age 16000 Fe 700",
		"2031-01-01T01:00 vehicle bus-4 bus component motor engine fluid 15W-40 retired",
		"2030-07-01 sample bus-5 motor age 5000 Cu 1",
		"2031-01-01T01:00 vehicle bus-5 bus component motor engine fluid 5W-30",
	} {
		b.Apply(short(t, fmt.Sprint("b", i), line))
	}
	set := fleet.Make(a.Book(), 7, []fleet.SurveyPart{surveyed(t, a), surveyed(t, b)})
	definition := `component.kind == \"engine\" | component.fluid | 6 3 | 12 months 0 days`
	want := `{"number":7,"turn":"2031-01-01T00:00:00Z","now":"2031-01-01T00:00:00Z","book":"` + a.Book().Hash + `","baselines":[` +
		`{"name":"engine oil of the fleet","definition":"` + definition + `","groupBy":["component.fluid"],"groups":[` +
		`{"of":["15W-40"],"samples":6,"vehicles":3,"oldest":"2030-02-01","newest":"2030-07-01","age":12000000,"analytes":[` +
		// Three below 2, and 3 and 5. Kaplan-Meier: the
		// mass of 5 is 1/5, of 3 1/5, and 3/5 lie from 0 to 2: 1.6 to 2.8.
		`{"analyte":"Cu","n":5,"detected":2,"vehicles":3,"usable":false,"unused":["5 results, 6 are needed"],"mean":{"low":1.6,"high":2.8000000000000003},"median":{"low":0,"high":2},"spread":{"low":LS,"high":HS},` +
		`"p90":{"low":5,"high":5},"p95":{"low":5,"high":5},"age":11000000,"aged":4,"notes":["not tested for outliers: 2 values were detected, the test needs 15",` +
		`"the fluid's age is unknown for 1 of 5 samples"],"low":[0,0,0,3,5],"high":[2,2,2,3,5]},` +
		`{"analyte":"Fe","n":6,"detected":6,"vehicles":3,"usable":true,"mean":{"low":21,"high":21},"median":{"low":20.5,"high":20.5},"spread":{"low":SP,"high":SP},"sd":SD,` +
		`"p90":{"low":26,"high":26},"p95":{"low":26,"high":26},"age":12000000,"aged":5,"notes":["not tested for outliers: 6 values were detected, the test needs 15",` +
		`"the fluid's age is unknown for 1 of 6 samples"],"low":[18,19,20,21,22,26]}]},` +
		`{"of":["5W-30"],"samples":1,"vehicles":1,"oldest":"2030-07-01","newest":"2030-07-01","age":5000000,"analytes":[` +
		`{"analyte":"Cu","n":1,"detected":1,"vehicles":1,"usable":false,"unused":["1 result, 6 are needed","1 vehicle, 3 are needed"],"mean":{"low":1,"high":1},"median":{"low":1,"high":1},"spread":{"low":0,"high":0},` +
		`"p90":{"low":1,"high":1},"p95":{"low":1,"high":1},"age":5000000,"aged":1,"notes":["not tested for outliers: 1 value was detected, the test needs 15"],"low":[1]}]}]}]}`
	// The quartiles of 18 19 20 21 22 26 have the ranks 1.75 and 5.25: 18.75 and 23.
	// The sum of squares about the mean 21 is 9+4+1+0+1+25 = 40.
	want = strings.NewReplacer("LS", asJSON(t, math.Max(0, (4.0-2)/1.349)), "HS", asJSON(t, 4/1.349), "SP", asJSON(t, (23-18.75)/1.349), "SD", asJSON(t, math.Sqrt(8))).Replace(want)
	if got := asJSON(t, set); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// Helsel's Oahu arsenic (24 values, 13 below a limit) as samples of a fleet: the
// Kaplan-Meier mean 0.949, and the standard deviation 0.718 by robust ROS, from
// memory (Helsel, Nondetects and Data Analysis). A sample of 0.7 lies where 0.7 is
// the median by ROS, as far as the limits leave that open.
func TestFleetOahu(t *testing.T) {
	f, err := os.Open("../testdata/helsel_oahu_arsenic.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	p := fleetOf(t, fleetRules, "bus-1", "bus-2", "bus-3", "bus-4")
	for i, row := range rows[1:] {
		value := map[string]string{"0": "", "1": "<"}[row[1]] + row[0]
		p.Apply(short(t, fmt.Sprint("s", i), fmt.Sprintf("2030-%02d-01 sample bus-%d motor As %s", i%12+1, i%4+1, value)))
	}
	set := fleet.Make(p.Book(), 1, []fleet.SurveyPart{surveyed(t, p)})
	as := set.Baselines[0].Groups[0].Analytes[0]
	if as.Analyte != "As" || as.N != 24 || as.Detected != 11 || !as.Usable || len(as.Outliers) > 0 {
		t.Fatalf("arsenic: %+v", as)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"least mean", as.Mean.Low, 0.949}, {"greatest mean", as.Mean.High, 0.949}, {"standard deviation", *as.SD, 0.718}} {
		if math.Abs(c.got-c.want) > 5e-4 {
			t.Errorf("%s = %v, published %v", c.what, c.got, c.want)
		}
	}
}

// An outlier is left out, by name; the figures are those of the others.
func TestFleetOutliers(t *testing.T) {
	p := fleetOf(t, fleetRules, "bus-1", "bus-2", "bus-3")
	for i := range 16 {
		fe := 20 + i%5
		if i == 7 {
			fe = 400
		}
		p.Apply(short(t, fmt.Sprint("s", i), fmt.Sprintf("2030-%02d-05 sample bus-%d motor number L-%d Fe %d", i%12+1, i%3+1, i, fe)))
	}
	set := fleet.Make(p.Book(), 1, []fleet.SurveyPart{surveyed(t, p)})
	fe := set.Baselines[0].Groups[0].Analytes[0]
	want := []fleet.Outlier{{Vehicle: "bus-2", Component: "motor", Number: "L-7", Drawn: "2030-08-05", Value: 400}}
	if !slices.Equal(fe.Outliers, want) || fe.N != 15 || fe.Mean.High > 23 {
		t.Errorf("iron: %+v", fe)
	}
}

// TestFleetOrder: how the samples lie in partitions, and in which order they came,
// makes no difference; and each group holds what a plain search finds.
func TestFleetOrder(t *testing.T) {
	fluids, book := []string{"15W-40", "5W-30"}, load(t, fleetRules)
	rapid.Check(t, func(t *rapid.T) {
		var all []fleet.SurveySample
		for i := range rapid.IntRange(1, 60).Draw(t, "n") {
			s := fleet.SurveySample{
				Vehicle: fmt.Sprint("bus-", rapid.IntRange(1, 6).Draw(t, "vehicle")), Component: "motor", Number: fmt.Sprint("L-", i), Drawn: "2030-05-01",
				Baseline: "engine oil of the fleet", Group: []string{rapid.SampledFrom(fluids).Draw(t, "fluid")},
				Distance: rapid.Float64Range(-1, 30_000_000).Draw(t, "age"), Hours: -1, Results: []fleet.SurveyResult{},
			}
			for _, a := range []string{"Cu", "Fe"} {
				if rapid.Bool().Draw(t, a) {
					s.Results = append(s.Results, fleet.SurveyResult{Analyte: a, Value: rapid.Float64Range(1, 100).Draw(t, "value"), Below: rapid.IntRange(0, 4).Draw(t, "below") == 0})
				}
			}
			all = append(all, s)
		}
		at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
		set := fleet.Make(book, 1, []fleet.SurveyPart{{Now: at, Samples: slices.Clone(all)}})
		mixed := rapid.Permutation(all).Draw(t, "order")
		cut := rapid.IntRange(0, len(mixed)).Draw(t, "cut")
		other := fleet.Make(book, 1, []fleet.SurveyPart{{Now: at, Samples: mixed[cut:]}, {Now: at, Samples: mixed[:cut]}})
		if set.Hash() != other.Hash() {
			t.Fatalf("in another order %+v becomes %+v", set, other)
		}
		for _, g := range set.Baselines[0].Groups {
			for _, a := range g.Analytes {
				n, vehicles := plainly(all, g.Of[0], a.Analyte)
				if a.N+len(a.Outliers) != n || a.Vehicles > vehicles || a.Usable && (a.N < 6 || a.Vehicles < 3) {
					t.Fatalf("%v %s: %+v, there are %d of %d", g.Of, a.Analyte, a, n, vehicles)
				}
			}
		}
	})
}

// plainly counts the results of an analyte in a group, and their vehicles.
func plainly(all []fleet.SurveySample, fluid, analyte string) (n, vehicles int) {
	seen := map[string]bool{}
	for _, s := range all {
		for _, r := range s.Results {
			if s.Group[0] == fluid && r.Analyte == analyte {
				n++
				seen[s.Vehicle] = true
			}
		}
	}
	return n, len(seen)
}

// usual gives a partition six samples of three vehicles, with a mean of 21 mg/kg of
// iron at 12,000 km, and the set that is made of them, which is put in force.
func usual(tb testing.TB, vehicles ...string) (*engine.Partition, *fleet.Set) {
	tb.Helper()
	p := fleetOf(tb, fleetRules, append([]string{"bus-1", "bus-2", "bus-3"}, vehicles...)...)
	for i, fe := range []int{18, 19, 20, 21, 22, 26} {
		p.Apply(short(tb, fmt.Sprint("s", i), fmt.Sprintf("2031-01-%02d sample bus-%d motor age 12000 Fe %d", i+2, i%3+1, fe)))
	}
	p.Apply(short(tb, "t1", "2031-02-01 tick"))
	set := fleet.Make(p.Book(), 1, []fleet.SurveyPart{surveyed(tb, p)})
	p.Apply(set.Event())
	return p, set
}

// said is what events bring, a line each: what moved, and what was not judged.
func said(out []engine.Output) string {
	var b strings.Builder
	for _, o := range out {
		switch {
		case o.Transition != nil:
			fmt.Fprintf(&b, "%s: %s; %s\n", o.Transition.Rule, o.Transition.To, o.Transition.Message)
			for _, e := range o.Transition.Evidence {
				fmt.Fprintf(&b, "  %s = %.4g %s\n", e.Of, e.Value, e.Note)
			}
		case o.NotJudged != nil:
			fmt.Fprintf(&b, "%s: not judged without %s\n", o.NotJudged.Rule, strings.Join(o.NotJudged.Missing, ", "))
		case o.Refused != nil:
			fmt.Fprintf(&b, "refused: %s\n", o.Refused.Refused)
		}
	}
	return b.String()
}

const usualNote = "baseline engine oil of the fleet, number 1 of 2031-02-01: 6 results of 3 vehicles (15W-40)"

// What the fleet's samples do not say, the book's baseline does that theirs goes over.
func TestFleetOverBook(t *testing.T) {
	p, _ := usual(t)
	got := said(p.Apply(short(t, "x", "2031-02-03 sample bus-1 motor age 6000 Fe 70 Cu 31 P 400")))
	want := `copper: caution; Copper is 3.1 times the baseline
  times("Cu") = 3.1 baseline engine oil of the book, invented
iron: caution; Iron is 3.33 times the baseline
  times("Fe") = 3.333 ` + usualNote + `
iron among its like: advisory; Iron is higher than in 100 of 100
  percentile("Fe") = 100 ` + usualNote + `
iron for its age: caution; Iron is 6.67 times the baseline for its age
  timesForAge("Fe") = 6.667 ` + usualNote + `
phosphorus: caution; Phosphorus is 0.44 of fresh
  kept("P") = 0.4444 baseline engine oil of the book, invented
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// TestFleetKept: a sample is judged by the set that was in force when it arrived,
// after a restart without that set and by another one, too.
func TestFleetKept(t *testing.T) {
	p, set := usual(t)
	p.Apply(short(t, "x", "2031-02-03 sample bus-1 motor Fe 70"))
	p.Apply(short(t, "r", "2031-02-04 reading bus-1 odometer 5000"))
	b, err := p.Encode("bus-1")
	if err != nil {
		t.Fatal(err)
	}
	again := engine.NewPartition()
	if err := again.Load("bus-1", b); err != nil {
		t.Fatal(err)
	}
	again.Restore(p.Now(), p.Book())
	again.Resume(p.Resumed())
	hash, _ := p.Baselines()
	if hash != set.Hash() {
		t.Errorf("in force is %q, not %q", hash, set.Hash())
	}
	other := *set
	other.Number, other.Baselines = 2, nil
	again.Apply(other.Event())
	for _, p := range []*engine.Partition{p, again} {
		// Taking a fact out has every rule walk its history again.
		if got := said(p.Apply(short(t, "v", "2031-02-05 void bus-1 r"))); strings.Contains(got, "iron: ") {
			t.Errorf("what was judged before comes out otherwise: %s", got)
		}
		why := p.Why("bus-1", "iron")
		if len(why) != 1 || why[0].Stage != "caution" || why[0].Judged.Baseline.Fleet.Set != hash || why[0].Judged.Baseline.Mean["Fe"] != 21 {
			t.Errorf("why: %s", asJSON(t, why))
		}
		if text := why[0].Text(); !strings.Contains(text, "6 samples of 3 vehicles of the fleet (15W-40), number 1 of 2031-02-01") {
			t.Errorf("why does not name the set: %s", text)
		}
	}
	if got := said(again.Apply(short(t, "y", "2031-02-06 sample bus-1 motor Fe 80"))); !strings.Contains(got, "iron among its like: not judged") {
		t.Errorf("a set without the baseline judges: %s", got)
	}
}

// A sample of a vehicle that nobody has registered yet is compared once somebody
// does, if the set that was in force still is.
func TestFleetUnregistered(t *testing.T) {
	const register = `2031-01-01 vehicle bus-9 bus meter odometer component motor engine fluid 15W-40`
	for _, later := range []bool{false, true} {
		p, set := usual(t)
		p.Apply(short(t, "x", "2031-02-03 sample bus-9 motor Fe 70"))
		if later {
			other := *set
			other.Number = 2
			p.Apply(other.Event())
		}
		got := said(p.Apply(short(t, "v9", register)))
		if strings.Contains(got, "percentile(\"Fe\") = 100 "+usualNote) == later {
			t.Errorf("later %v: %s", later, got)
		}
	}
}

// A set whose text is gone judges nothing, and the next one does.
func TestFleetGone(t *testing.T) {
	p, set := usual(t)
	p.RestoreBaselines(set.Hash(), nil)
	got := said(p.Apply(short(t, "x", "2031-02-03 sample bus-1 motor Fe 70")))
	if !strings.Contains(got, `iron among its like: not judged without the fleet's baseline "engine oil of the fleet": the text of `+set.Hash()[:19]) {
		t.Errorf("got %s", got)
	}
	p.Apply(set.Event())
	if got := said(p.Apply(short(t, "y", "2031-02-04 sample bus-2 motor Fe 70"))); !strings.Contains(got, "iron among its like: advisory") {
		t.Errorf("got %s", got)
	}
}

// A rule that is softened by age, on a baseline made from the fleet: the age is that of
// the group's fluids. The fluid has run three times as long as the fleet's; its caution
// is softened to the warning's limit at most, and the warning is not.
func TestFleetSoftened(t *testing.T) {
	const text = `book: 1
baselines:
  engine oil of the fleet:
    where: component.kind == "engine"
    from: fleet
    at least: {samples: 6, vehicles: 2}
rules:
  iron:
    on: sample
    measure: times("Fe")
    above: {caution: 2, warning: 5}
    soften by age: yes
    say: Iron is ${round(measure, 1)} times the baseline of a fluid ${round(timesTheAge(), 1)} times younger
`
	p := fleetOf(t, text, "bus-1", "bus-2", "bus-3")
	p.SurveyMonthly()
	for i := range 6 {
		p.Apply(short(t, fmt.Sprintf("s%d", i), fmt.Sprintf("2031-01-1%d sample bus-%d motor odometer %d age 10000 Fe %d number N%d", i, 1+i%2, 20000+100*i, 18+i%5, i)))
	}
	p.Apply(short(t, "feb", "2031-02-01 tick"))
	var got []string
	for i, fe := range []int{79, 99, 101} { // the mean is 19.67: 4.0, 5.03 and 5.1 times
		for _, o := range p.Apply(short(t, fmt.Sprintf("old%d", i), fmt.Sprintf("2031-02-1%d sample bus-3 motor odometer %d age 30000 Fe %d number O%d", i, 60000+100*i, fe, i))) {
			if o.Transition != nil {
				got = append(got, string(o.Transition.To)+": "+o.Transition.Message)
			}
		}
	}
	want := []string{"warning: Iron is 5 times the baseline of a fluid 3 times younger"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	// Fluid as old as the fleet's is not softened; one of unknown age is not either.
	for i, line := range []string{"2031-02-20 sample bus-1 motor odometer 31000 age 10000 Fe 79 number Y", "2031-02-21 sample bus-2 motor Fe 79 number U"} {
		got = nil
		for _, o := range p.Apply(short(t, fmt.Sprintf("young%d", i), line)) {
			if o.Transition != nil {
				got = append(got, string(o.Transition.To))
			}
		}
		if !slices.Equal(got, []string{"caution"}) {
			t.Errorf("%s: %q", line, got)
		}
	}
}

// BenchmarkSurvey asks a partition of 2,000 vehicles with 10 samples of 12 analytes
// each, and makes the set of what it answers.
func BenchmarkSurvey(b *testing.B) {
	var names []string
	for i := range 2000 {
		names = append(names, fmt.Sprintf("bus-%04d", i))
	}
	p := fleetOf(b, fleetRules, names...)
	for i, v := range names {
		for k := range 10 {
			var s strings.Builder
			fmt.Fprintf(&s, "2031-01-%02d sample %s motor odometer %d age %d number S%d", 2+2*k, v, 20000+1000*k, 5000+1000*k, k)
			for j, a := range sheetOf24[:12] {
				fmt.Fprintf(&s, " %s %d", a, 5+(7*i+11*j+k)%17)
			}
			p.Apply(short(b, fmt.Sprintf("s-%d-%d", i, k), s.String()))
		}
	}
	p.Apply(short(b, "feb", "2031-02-01 tick"))
	part := surveyed(b, p)
	if len(part.Samples) != 20000 {
		b.Fatalf("%d samples", len(part.Samples))
	}
	b.Run("part", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			surveyed(b, p)
		}
	})
	b.Run("set", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			fleet.Make(p.Book(), 1, []fleet.SurveyPart{part})
		}
	})
}

// A sample that came under a name which nobody had registered is compared with the fleet
// as soon as the register says whose name that is.
func TestFleetRenamed(t *testing.T) {
	for _, c := range []struct{ name, earlier string }{{"one name", ""}, {"the new name first", "bus-4"}} {
		p, _ := usual(t)
		vehicle, reg := "bus-4", short(t, "r", `2031-02-04 vehicle bus-4 bus meter odometer component motor engine fluid 15W-40 capacity 20 L`)
		if c.earlier != "" {
			p.Apply(short(t, "r0", `2031-02-02 vehicle bus-4 bus meter odometer component motor engine fluid 15W-40 capacity 20 L`))
			vehicle = "bus-5"
			reg.Vehicle = "bus-5"
			reg.Data.(*event.VehicleData).Was = []string{c.earlier}
		}
		p.Apply(short(t, "s", `2031-02-03 sample `+vehicle+` motor age 12000 Fe 63`))
		if got := said(p.Apply(reg)); !strings.Contains(got, "iron: caution; Iron is 3 times") {
			t.Errorf("%s: %s", c.name, got)
		}
	}
}
