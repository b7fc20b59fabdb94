package rules

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// askers are rules of a file, each by what its numbers hang on.
var askers = []string{
	"far: {on: reading, measure: odometer(), above: {advisory: 1000, caution: 2000}}",
	"worn: {on: sample, raise: 'value(\"Fe\") > 50 && fluidAge() > 5000', stage: caution}",
	"fast: {on: sample, measure: rate(\"Fe\"), above: {advisory: 4}}",
	"rising: {on: sample, raise: 'trend(\"Fe\") > 0.5 && perDay() > 20', stage: caution}",
	"large: {on: sample, raise: 'litresTo(\"Na\", 15) > component.capacity / 2', stage: caution}",
	"quick: {on: sample, where: component.capacity > 7, measure: value(\"flash\"), below: {caution: 200}}",
}

func fileOf(name, units string, rules ...string) File {
	var b strings.Builder
	fmt.Fprintf(&b, "book: 1\n%srules:\n", units)
	for _, r := range rules {
		fmt.Fprintf(&b, "  %s %s\n", name, r)
	}
	return File{name + ".yaml", []byte(b.String())}
}

// What a file says of its units changes no other file: each rule judges as in a book of
// its file alone.
func TestUnitsAreOfTheFile(t *testing.T) {
	say := []string{"", "units: {distance: km, volume: L}\n", "units: {distance: mi, volume: qt}\n", "units: {volume: gal, temperature: degF}\n"}
	rapid.Check(t, func(t *rapid.T) {
		f := &fakeFacts{comp: gearbox, numbers: map[string]float64{}}
		for k, most := range map[string]float64{"odometer()": 5e6, "fluidAge()": 2e7, `value("Fe")`: 100, `rate("Fe")`: 1e-5, `trend("Fe")`: 1e-12, "perDay()": 1e5,
			`litresTo("Na 15")`: 12, `value("flash")`: 300} {
			f.numbers[k] = rapid.Float64Range(0, most).Draw(t, k)
		}
		var files []File
		for _, name := range []string{"a", "b", "c"} {
			files = append(files, fileOf(name, rapid.SampledFrom(say).Draw(t, "units of "+name), askers...))
		}
		together, err := Load(files)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, file := range files {
			alone, err := Load([]File{file})
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range alone.Rules {
				i := place(together, r.Name)
				got, want := NewJudge(together).Run(together.Rules[i], f), NewJudge(alone).Run(r, f)
				if fmt.Sprint(got) != fmt.Sprint(want) {
					t.Fatalf("%s: %v beside others, %v alone", r.Name, got, want)
				}
				one, err1 := NewJudge(together).Matches(together.Rules[i].Where, f.Vehicle(), gearbox)
				two, err2 := NewJudge(alone).Matches(r.Where, f.Vehicle(), gearbox)
				if one != two || err1 != nil || err2 != nil {
					t.Fatalf("%s: %v beside others, %v alone (%v, %v)", r.Name, one, two, err1, err2)
				}
				n++
			}
		}
		if n != len(files)*len(askers) {
			t.Fatalf("%d rules", n)
		}
	})
}

func place(b *Book, name string) int {
	for i, r := range b.Rules {
		if r.Name == name {
			return i
		}
	}
	return -1
}

// twins are one rule as files in kilometres and in miles say it.
var twins = [2]string{`book: 1
units: {distance: km, volume: L, temperature: degC}
baselines:
  usual: {where: component.capacity > 5.678, fluid age: 16093.44 km, source: invented, mean: {Fe: 90}, fresh: {flash: 220}}
tasks:
  oil: {where: component.kind != "", every: {distance: 16093.44 km}}
rules:
  worn:
    on: sample
    raise: value("Fe") > 100 && since("oil") > 4828.032 && component.capacity > 5.678 && value("flash") < 200
    stage: caution
    say: Iron ${value("Fe")} mg/kg, ${since("oil")} km after the oil change; it flashes at ${value("flash")} °C
    advise: Stop and inspect within ${km(5000)}.
`, `book: 1
units: {distance: mi, volume: qt, temperature: degF}
baselines:
  usual: {where: component.capacity > 6, fluid age: 10000 mi, source: invented, mean: {Fe: 90}, fresh: {flash: 428}}
tasks:
  oil: {where: component.kind != "", every: {distance: 10000 mi}}
rules:
  worn:
    on: sample
    raise: value("Fe") > 100 && since("oil") > 3000 && component.capacity > 6 && value("flash") < 392
    stage: caution
    say: Iron ${value("Fe")} mg/kg, ${since("oil")} mi after the oil change; it flashes at ${value("flash")} °F
    advise: Stop and inspect within ${km(5000)}.
`}

func TestTwinsInBothUnits(t *testing.T) {
	metric, miles := load(t, twins[0]), load(t, twins[1])
	if math.Abs(metric.Baselines[0].Fresh["flash"]-miles.Baselines[0].Fresh["flash"]) > 1e-9 {
		t.Error(metric.Baselines[0].Fresh, miles.Baselines[0].Fresh)
	}
	rapid.Check(t, func(t *rapid.T) {
		comp := *gearbox
		comp.Capacity = rapid.Float64Range(1, 12).Draw(t, "capacity")
		near := func(name string, at float64) float64 {
			return at * rapid.SampledFrom([]float64{0.5, 0.999999, 1, 1.000001, 2}).Draw(t, name)
		}
		f := &fakeFacts{comp: &comp, numbers: map[string]float64{`value("Fe")`: near("iron", 100), `since("oil")`: near("run", 3000*unit.Mile), `value("flash")`: near("flash", 200)}}
		one, two := NewJudge(metric), NewJudge(miles)
		if got, want := outcome(one.Run(metric.Rules[0], f)), outcome(two.Run(miles.Rules[0], f)); got != want {
			t.Fatalf("in km %s, in miles %s", got, want)
		}
	})
}

// Evidence is in the units of the rule's own file.
func TestEvidenceInTheUnitsOfTheFile(t *testing.T) {
	b := load(t, twins[1])
	f := &fakeFacts{comp: gearbox, numbers: map[string]float64{`value("Fe")`: 120, `since("oil")`: 4000 * unit.Mile, `value("flash")`: 190}}
	_, got, _ := NewJudge(b).Explain(b.Rules[0], f)
	for i := range got { // as it is written
		got[i].Value = math.Round(got[i].Value*1e9) / 1e9
	}
	want := []word.Evidence{{Of: `value("Fe")`, Value: 120, Unit: "mg/kg"}, {Of: `since("oil")`, Value: 4000, Unit: "mi"},
		{Of: "component.capacity", Value: 8.453505675, Unit: "qt"}, {Of: `value("flash")`, Value: 374, Unit: "degF"}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

// A text has each quantity in the units of whoever reads it, once.
func TestTextsForReaders(t *testing.T) {
	overseas := unit.System{Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"}
	const file = "book: 1\n%stasks: {oil: {every: {distance: 1 km}}}\nbaselines: {b: {source: x, fluid age: 1 km, mean: {Fe: 90}, fresh: {flash: 220}}}\n" +
		"rules:\n  r: {on: sample, measure: %s, above: {caution: 1}, say: '%s'}\n"
	inKm, inMiles := "units: {distance: km, volume: L}\n", "units: {distance: mi, volume: qt, temperature: degF}\n"
	f := &fakeFacts{comp: gearbox, ends: map[string][2]float64{`value("Pb")`: {0, 1}},
		numbers: map[string]float64{`since("oil")`: 7671 * unit.Mile, `litresTo("Na 15")`: 9, `value("flash")`: 220, `fresh("flash")`: 210, `change("flash")`: 10, `value("Fe")`: 30,
			`rate("Fe")`: 4.2e-6, "perDay()": 120e3, `hoursSince("oil")`: 36e4, `daysSince("oil")`: 12, "fluidHours()": 36e5, `ratePer100h("Cu")`: 1e-6, "odometer()": 1e8}}
	for _, c := range []struct{ units, measure, say, metric, elsewhere string }{
		{inKm, "odometer()", `${since("oil")} km ago`, "12,345 km ago", "7,671 mi ago"},
		{inMiles, "odometer()", `${since("oil")} mi ago, ${round(since("oil") / 3)}`, "12,345 km ago, 4,115 km", "7,671 mi ago, 2,557 mi"},
		{"", "odometer()", `${since("oil")} kilometres; ${measure}kms`, "12,345 km; 100,000 kmkms", "7,671 mi; 62,137 mikms"},
		{inKm, "odometer()", `within ${km(5000)}, ${mi(2000)} or ${h(500)} or ${days(1)}`, "within 5,000 km, 3,200 km or 500 h or 1 day", "within 3,000 mi, 2,000 mi or 500 h or 1 day"},
		{inMiles, "odometer()", `${km(5000)} km, ${qt(4)} of ${component.capacity} quarts, at ${degC(90)} °C, ${psi(35)}`,
			"5,000 km, 3.8 L of 8 L, at 90 °C, 240 kPa", "3,000 mi, 4 qt of 8.5 qt, at 194 °F, 35 psi"},
		{inKm, "odometer()", `${litresTo("Na", 15)} litres, ${value("flash")} °C, ${value("flash") - fresh("flash")} more, ${change("flash")}`,
			"9 L, 220 °C, 10 more, 10", "9.5 qt, 428 °F, 10 more, 10"},
		{inKm, `rate("Fe")`, `${round(measure, 1)} mg/kg made in 1,000 km, ${rate("Fe")} per 1000 kilometres; ${rate("Fe")}`,
			"4.2 mg/kg made in 1,000 km, 4.2 per 1,000 km; 4.2", "6.76 mg/kg made in 1,000 mi, 6.76 per 1,000 mi; 4.2"},
		{inMiles, `rate("Fe")`, `${rate("Fe")} mg/kg in 1,000 mi`, "4.2 mg/kg in 1,000 km", "6.76 mg/kg in 1,000 mi"},
		{inKm, `ratePer100h("Cu")`, `${ratePer100h("Cu")} mg/kg in 100 h; ${rate("Cu")}`, "0.36 mg/kg in 100 h; n/a", "0.36 mg/kg in 100 h; n/a"},
		{inKm, "perDay()", `${round(measure)} km a day, ${perDay()}`, "120 km a day, 120 km a day", "75 mi a day, 75 mi a day"},
		{inKm, `value("Fe")`, `${measure} mg/kg, ${hoursSince("oil")} h, ${daysSince("oil")} days, lead ${value("Pb")}, ${value("Zn")}`,
			"30 mg/kg, 100 h, 12 days, lead below 1, n/a", "30 mg/kg, 100 h, 12 days, lead below 1, n/a"},
		{inKm, "odometer()", `${measure > 5 ? since("oil") : 0} km, ${dueIn("oil")} km`, "12,345 km, n/a", "7,671 mi, n/a"},
	} {
		b := load(t, fmt.Sprintf(file, c.units, c.measure, c.say))
		if len(b.Questions) != map[bool]int{true: 1}[c.units == ""] {
			t.Errorf("%s: %v", c.say, b.Questions)
		}
		j := NewJudge(b)
		measure := j.Run(b.Rules[0], f).Ends[0].Measure
		for _, r := range []struct {
			units unit.System
			want  string
		}{{unit.Metric, c.metric}, {overseas, c.elsewhere}} {
			j.Reads(english.Reader{Units: r.units})
			now := j.Say(b.Rules[0], Caution, f, measure)
			j.Reads(english.Reader{Marked: true})
			later := english.Worded(j.Say(b.Rules[0], Caution, f, measure), r.units)
			if now != r.want || later != r.want {
				t.Errorf("%s\n  now %q\nlater %q\n want %q", c.say, now, later, r.want)
			}
		}
	}
}

func TestUnitsOfABook(t *testing.T) {
	for _, c := range []struct {
		files []string
		want  unit.System
	}{
		{nil, unit.Metric},
		{[]string{"", "units: {distance: mi}\n", "units: {distance: mi, pressure: psi}\n"}, unit.System{Distance: "mi", Volume: "L", Temperature: "degC", Pressure: "psi"}},
		{[]string{"units: {distance: km, volume: qt}\n", "units: {distance: mi}\n"}, unit.System{Distance: "km", Volume: "qt", Temperature: "degC", Pressure: "kPa"}},
	} {
		var files []File
		for i, units := range c.files {
			files = append(files, File{fmt.Sprint(i), []byte("book: 1\n" + units)})
		}
		if b, err := Load(files); err != nil || b.Units != c.want {
			t.Errorf("%q: %v, %v, want %v", c.files, b, err, c.want)
		}
	}
}

// typedLeaves are quantities of several kinds, each of which is one thing in any units.
var typedLeaves = []string{`since("oil")`, "fluidAge()", "km(5)", "mi(3)", `litresTo("Na", 15)`, "component.capacity", "qt(4)", `value("Fe")`, `rate("Fe")`,
	"perDay()", `times("Fe")`, `daysSince("oil")`, "days(3)", `hoursSince("oil")`, "h(20)"}

func genTyped(t *rapid.T, depth int) string {
	if depth <= 0 {
		return rapid.SampledFrom(typedLeaves).Draw(t, "leaf")
	}
	a, b := genTyped(t, depth-1), genTyped(t, rapid.IntRange(0, depth-1).Draw(t, "depth"))
	switch rapid.IntRange(0, 6).Draw(t, "operator") {
	case 0:
		return "(" + a + " + " + b + ")"
	case 1:
		return "(" + a + " - " + b + ")"
	case 2:
		return "(" + a + " * " + b + ")"
	case 3:
		return "(" + a + " / " + b + ")"
	case 4:
		return "max(" + a + ", " + b + ")"
	case 5:
		return "(true ? " + a + " : " + b + ")"
	}
	return "2.5 * " + a
}

// What the check lets through is the same in any units: had it let a distance be compared
// with a volume, that would hang on the units of the file.
func TestComparedQuantitiesDoNotHangOnUnits(t *testing.T) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		text := genTyped(t, rapid.IntRange(0, 2).Draw(t, "left")) + " > " + genTyped(t, rapid.IntRange(0, 2).Draw(t, "right"))
		f := &fakeFacts{comp: gearbox, numbers: map[string]float64{}}
		for _, k := range []string{`since("oil")`, "fluidAge()", `litresTo("Na 15")`, `value("Fe")`, `rate("Fe")`, "perDay()", `times("Fe")`, `daysSince("oil")`, `hoursSince("oil")`} {
			f.numbers[k] = rapid.Float64Range(1, 1000).Draw(t, k)
		}
		var got [3]string
		for i, units := range []string{"{distance: km, volume: L}", "{distance: mi, volume: qt}", "{distance: km, volume: gal}"} {
			b, err := Load([]File{{"a.yaml", []byte("book: 1\nunits: " + units + "\ntasks: {oil: {every: {distance: 1 km}}}\n" +
				"baselines: {b: {source: x, fluid age: 1 km, mean: {Fe: 90}}}\nrules: {r: {on: sample, stage: caution, raise: '" + text + "'}}\n")}})
			if got[i] = "a fault"; err == nil {
				got[i] = outcome(NewJudge(b).Run(b.Rules[0], f))
				compared++
			}
		}
		if got[0] != got[1] || got[0] != got[2] {
			t.Fatalf("%s: %q", text, got)
		}
	})
	if compared < 10 {
		t.Errorf("only %d were compared", compared)
	}
}

// Two baselines of files in other units are found to match one component.
func TestConflictInBothUnits(t *testing.T) {
	for capacity, want := range map[string]string{
		"component.capacity == 6":     "that holds 5.7 L",
		"component.capacity == L(7)":  "that holds 7 L",
		"component.capacity < L(4.9)": "",
	} {
		_, err := Load([]File{
			{"a.yaml", []byte("book: 1\nunits: {volume: L}\nbaselines:\n  a: {source: x, fresh: {P: 1}, where: component.capacity > 5}\n")},
			{"b.yaml", []byte("book: 1\nunits: {volume: qt}\nbaselines:\n  b: {source: x, fresh: {P: 1}, where: " + capacity + "}\n")},
		})
		if got := fmt.Sprint(err); (err != nil) != (want != "") || !strings.Contains(got, want) {
			t.Errorf("%s: %v, want %q", capacity, err, want)
		}
	}
}
