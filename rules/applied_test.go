package rules

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/word"
)

// TestForOfAlikeVehicles: what a Judge that has seen other vehicles gives for one is
// what a new Judge finds by running every `where`.
func TestForOfAlikeVehicles(t *testing.T) {
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
		b, err := Load([]File{{"a.yaml", []byte(text.String())}})
		if err != nil {
			rt.Fatal(err)
		}
		seen := NewJudge(b)
		for range rapid.IntRange(2, 30).Draw(rt, "vehicles") {
			v, comps := drawAlike(rt)
			got, want := b.For(seen, &v, comps), b.For(NewJudge(b), &v, comps)
			if !reflect.DeepEqual(got, want) {
				rt.Fatalf("%+v %+v by\n%s\ngot  %+v\nwant %+v", v, comps, text.String(), got, want)
			}
		}
	})
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
