package applies

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules"
	"telltale/rules/word"
)

// TestAlikeVehicles: what a Finder that has seen other vehicles gives for one is
// what a new one finds by running every `where`.
func TestAlikeVehicles(t *testing.T) {
	wheres := []string{`vehicle.kind == "bus"`, `vehicle.name == "b"`, `vehicle.tags["road"] == "hills"`, `vehicle.tags.depot != ""`,
		`component.kind == "engine"`, `component.name == "a"`, `component.fluid == "oil"`, `component.capacity > 5`,
		`let k = component.kind; k == "axle" && vehicle.tags["road"] != "hills"`, `true`}
	rapid.Check(t, func(rt *rapid.T) {
		var text strings.Builder
		text.WriteString("book: 1\nbaselines:\n  one: {source: x, fresh: {P: 1}, where: '" + rapid.SampledFrom(wheres).Draw(rt, "baseline") + "'}\ntasks:\n")
		for i := range rapid.IntRange(1, 4).Draw(rt, "tasks") {
			fmt.Fprintf(&text, "  t%d: {every: {time: 1 years}, where: '%s'}\n", i, rapid.SampledFrom(wheres).Draw(rt, "where"))
		}
		text.WriteString("rules:\n")
		for i := range rapid.IntRange(1, 4).Draw(rt, "rules") {
			fmt.Fprintf(&text, "  r%d: {on: sample, raise: value(\"Fe\") > 1, stage: caution, where: '%s'}\n", i, rapid.SampledFrom(wheres).Draw(rt, "where"))
		}
		b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(text.String())}})
		if err != nil {
			rt.Fatal(err)
		}
		seen := NewFinder(b)
		for range rapid.IntRange(2, 30).Draw(rt, "vehicles") {
			v, comps := drawAlike(rt)
			got, want := seen.To(&v, comps), NewFinder(b).To(&v, comps)
			if !reflect.DeepEqual(got, want) {
				rt.Fatalf("%+v %+v by\n%s\ngot  %+v\nwant %+v", v, comps, text.String(), got, want)
			}
		}
	})
}

// TestTo: what applies is in order of name, then of the component's name.
func TestTo(t *testing.T) {
	b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(`book: 1
baselines:
  b hills: {where: component.fluid == "ATF", fresh: {P: 1}, source: x}
  a gearbox: {where: component.kind == "gearbox" && vehicle.kind == "minibus", over: b hills, fresh: {P: 1}, source: x}
tasks:
  oil: {every: {distance: 1 km}, where: component.kind == "engine"}
  wash: {every: {time: 7 days}}
  tyres: {every: {time: 7 days}, where: vehicle.kind == "van"}
  big: {every: {time: 7 days}, where: component.capacity > 5}
rules:
  iron: {on: sample, raise: value("Fe") > 1, stage: caution}
  far: {on: reading, raise: odometer() > 1, stage: caution, where: 'vehicle.tags["road"] == "hills"'}
`)}})
	if err != nil {
		t.Fatal(err)
	}
	v := word.Vehicle{Kind: "minibus", Tags: map[string]string{"road": "hills"}}
	comps := []word.Component{{Name: "z box", Kind: "gearbox", Fluid: "ATF", Capacity: 9}, {Name: "a engine", Kind: "engine"}, {Name: "m axle", Kind: "axle", Fluid: "ATF"}}
	got := NewFinder(b).To(&v, comps)
	var lines []string
	for _, a := range got.Tasks {
		lines = append(lines, fmt.Sprint("task ", a.Task.Name, " ", a.Component))
	}
	for _, a := range got.Rules {
		lines = append(lines, fmt.Sprint("rule ", a.Rule.Name, " ", a.Component))
	}
	for _, bl := range got.Baselines {
		if bl == nil {
			bl = &rules.Baseline{}
		}
		lines = append(lines, "baseline "+bl.Name)
	}
	want := []string{"task big 0", "task oil 1", "task wash -1", "rule far -1", "rule iron 1", "rule iron 2", "rule iron 0",
		"baseline a gearbox", "baseline ", "baseline b hills"}
	if !reflect.DeepEqual(lines, want) {
		t.Errorf("got  %q\nwant %q", lines, want)
	}
}

// drawAlike draws from few words, so that vehicles are often alike in some of them.
func drawAlike(rt *rapid.T) (word.Vehicle, []word.Component) {
	text := func(of ...string) string { return rapid.SampledFrom(of).Draw(rt, "word") }
	v := word.Vehicle{Name: text("a", "b"), Kind: text("bus", "van"), Tags: map[string]string{}}
	for _, tag := range []string{"road", "depot", "other"} {
		if s := text("", "hills", "flat"); s != "" {
			v.Tags[tag] = s
		}
	}
	var comps []word.Component
	for _, name := range rapid.SampledFrom([][]string{nil, {"a"}, {"b"}, {"a", "b"}, {"b", "a"}, {"c", "a", "b"}}).Draw(rt, "names") {
		comps = append(comps, word.Component{Name: name, Kind: text("engine", "axle"), Fluid: text("", "oil"), Capacity: rapid.SampledFrom([]float64{0, 4, 8}).Draw(rt, "capacity")})
	}
	return v, comps
}
