package rules

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

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
