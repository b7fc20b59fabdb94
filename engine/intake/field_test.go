package intake

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// kindsThereAre counts the kinds that package engine names.
func kindsThereAre() (n int) {
	defer func() { _ = recover() }()
	for n = 1; ; n++ {
		_ = event.Kind(n).String()
	}
}

// Every kind of event has its form; one from outside has a word in the short form
// and a chapter in the reference.
func TestKindsAreDescribed(t *testing.T) {
	if n := kindsThereAre(); n != len(forms) {
		t.Errorf("%d forms of %d kinds", len(forms), n)
	}
	for k := event.VehicleEvent; int(k) < len(forms); k++ {
		f := forms[k]
		if f.read == nil {
			t.Errorf("nothing reads the data of a %s", k)
		}
		if k.Internal() {
			continue
		}
		if f.words == nil || f.fields == nil || !slices.Contains(strings.Split(shortKinds, ", "), f.short) {
			t.Errorf("a %s has no fields, or no word in the short form", k)
		}
		if !strings.Contains(readme(t), "\n## "+k.String()+"\n") {
			t.Errorf("README.md has no chapter on %s", k)
		}
	}
}

// dataOfKinds is an example of the data of each kind from outside, and of what they
// hold lists of.
func dataOfKinds(t *testing.T) map[string]any {
	out := map[string]any{"component": &event.ComponentDef{}}
	for _, s := range examples(t) {
		if ev := mustDecode(t, s); !ev.Kind.Internal() {
			out[ev.Kind.String()] = reflect.New(reflect.TypeOf(ev.Data).Elem()).Interface()
		}
	}
	return out
}

func described(name string) []Field {
	if name == "component" {
		return componentFields
	}
	k, _ := event.KindOf(name)
	return Fields(k)
}

// paths are the fields of a struct, by the names that JSON has for them.
func paths(t reflect.Type, before string) (out []string) {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct || t == reflect.TypeFor[unit.Quantity]() {
		return []string{strings.TrimSuffix(before, ".")}
	}
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		out = append(out, paths(t.Field(i).Type, before+name+".")...)
	}
	return out
}

// Every field of the data of an event is described, and named in each way by which
// such events are made: one that was forgotten fails here.
func TestFieldsAreDescribed(t *testing.T) {
	inFiles := []string{"vehicle", "component", "reading", "sample", "service"}
	for name, data := range dataOfKinds(t) {
		var have []string
		for _, f := range described(name) {
			have = append(have, f.Path)
			if f.Short == "" || slices.Contains(inFiles, name) && f.Key == "" || name == "service" && (f.Option == "" || f.Input == "") {
				t.Errorf("%s of a %s has no name in one of the ways", f.Path, name)
			}
			_, quantity := f.In(data).(**unit.Quantity)
			if f.Short != Apart && f.Asked == "" && reflect.TypeOf(f.In(data)) != reflect.TypeFor[*bool]() || f.Option != "" && f.Option != Apart && f.Help == "" || quantity && f.Units == nil {
				t.Errorf("of %s of a %s it is not said what it is", f.Path, name)
			}
		}
		if want := slices.Sorted(slices.Values(paths(reflect.TypeOf(data), ""))); !slices.Equal(slices.Sorted(slices.Values(have)), want) {
			t.Errorf("%s: described are %v, it has %v", name, have, want)
		}
	}
}

// Each word of the short form sets its field, whatever comes with it.
func TestShortSetsFields(t *testing.T) {
	begins := map[string]string{
		"vehicle": "vehicle van-1 van", "component": "vehicle van-1 van component axle axle", "sample": "sample van-1 axle Fe 3",
		"service": "service van-1 oil", "answer": "answer van-1 acknowledge oil",
	}
	values := map[string]string{"inService": "2031-01-01", "zone": "Europe/London", "taken": "after", "until": "", "byDistance": "", "reads": "mi", "vin": "ZZ1LARKFE00000007", "validUntil": "2032-01-01"}
	for name, begin := range begins {
		for _, f := range described(name) {
			value, given := values[f.Path]
			if f.Short == Apart || given && value == "" {
				continue
			}
			line := "2031-02-01 " + begin + " " + f.Short
			if f.Units != nil {
				value = fmt.Sprint(3, map[unit.Kind]string{unit.Distance: "km", unit.Volume: "L"}[f.Units[0]])
			} else if value == "" {
				value = "7"
			}
			if f.Asked != "" {
				line += " " + value
			}
			ev, err := Short(line, "x", unit.System{Distance: "km", Volume: "L"})
			if err != nil {
				t.Errorf("%s: %v", line, err)
				continue
			}
			data := ev.Data
			if name == "component" {
				data = &data.(*event.VehicleData).Components[0]
			}
			if reflect.ValueOf(f.In(data)).Elem().IsZero() {
				t.Errorf("%s: nothing is set by it", line)
			}
		}
	}
}

// Each key of the register sets its field.
func TestRegisterSetsFields(t *testing.T) {
	given := map[string]string{
		"tags": "{a: b}", "in service": "2031-01-01", "zone": "Europe/London", "meters": "{odometer: distance}", "retired": "yes",
		"components": "{c: {kind: k}}", "capacity": "8 L", "torque": "{drain plug: 35 N m}", "reads": "[mi, qt]", "vin": "ZZ1LARKFE00000007",
	}
	entry := func(fields []Field, more map[string]string) string {
		all := maps.Clone(given)
		maps.Copy(all, more)
		var out []string
		for _, key := range Keys(fields) {
			value := all[key]
			if value == "" {
				value = "x"
			}
			out = append(out, key+": "+value)
		}
		return "{" + strings.Join(out, ", ") + "}"
	}
	component := entry(componentFields, map[string]string{"meters": "odometer", "was": "y"})
	text := "vehicles:\n  v: " + entry(vehicleFields, map[string]string{"components": "{c: " + component + "}"}) + "\n"
	events, err := Register("v.yaml", []byte(text), time.Unix(1e9, 0))
	if err != nil {
		t.Fatal(err)
	}
	d := events[0].Data.(*event.VehicleData)
	for data, fields := range map[any][]Field{d: vehicleFields, &d.Components[0]: componentFields} {
		for _, f := range fields {
			if f.Key != Apart && reflect.ValueOf(f.In(data)).Elem().IsZero() {
				t.Errorf("%s sets nothing", f.Path)
			}
		}
	}
}
