package fit_test

import (
	"fmt"
	"testing"
	"time"

	"telltale/engine/fit"
	"telltale/engine/intake"
	"telltale/rules"
)

// clashing are the faults of a book with a register.
func clashing(t *testing.T, book, vehicles string) string {
	t.Helper()
	b, err := rules.Load([]rules.File{{Name: "rules.yaml", Text: []byte("book: 1\n" + book)}})
	if err != nil {
		t.Fatal(err)
	}
	text := []byte("vehicles:\n" + vehicles)
	events, err := intake.Register("vehicles.yaml", text, time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	if faults := fit.Faults(b, fit.ReadRegister("vehicles.yaml", text, events)); len(faults) > 0 {
		return faults.Error()
	}
	return ""
}

// Two that both match a component of the register, in ways that the rules alone do not show.
func TestClashes(t *testing.T) {
	const (
		baselines = "baselines:\n  a: {source: x, fresh: {P: 1}, where: lower(component.name) != component.name}\n" +
			"  b: {source: x, fresh: {P: 2}, where: lower(vehicle.name) == vehicle.name%s}\n"
		tasks = "tasks:\n  oil: {every: {time: 12 months}, where: component.kind == \"engine\"}\n" +
			"  oil in hills: {over: oil, every: {time: 6 months}, where: 'component.kind == \"engine\" && vehicle.tags[\"road\"] == \"hills\"'}\n" +
			"  oil of gritters: {over: %s, every: {time: 3 months}, where: component.kind == \"engine\" && vehicle.kind == \"gritter\"}\n"
		grit = "  grit-%d: {kind: gritter, tags: {road: hills}, components: {engine: {kind: engine}}}\n"
	)
	for what, c := range map[string]struct{ book, vehicles, want string }{
		"baselines": {fmt.Sprintf(baselines, ""), "  bus-1: {name: bus 1, kind: bus, components: {Box: {kind: gearbox}, axle: {kind: axle}}}\n",
			`rules.yaml:4:3: baselines "a" (rules.yaml:3:3) and "b" both match Box of bus-1` + "\n" +
				"hint: narrow one `where`, or write `over: a` in the one that goes first"},
		"one goes first":    {fmt.Sprintf(baselines, ", over: a"), "  bus-1: {name: bus 1, kind: bus, components: {Box: {kind: gearbox}}}\n", ""},
		"none has both":     {fmt.Sprintf(baselines, ""), "  bus-1: {name: Bus 1, kind: bus, components: {Box: {kind: gearbox}}}\n", ""},
		"a retired one":     {fmt.Sprintf(baselines, ""), "  bus-1: {name: bus 1, kind: bus, retired: yes, components: {Box: {kind: gearbox}}}\n", ""},
		"tasks go first":    {fmt.Sprintf(tasks, "[oil in hills, oil]"), fmt.Sprintf(grit, 1), ""},
		"tasks, no gritter": {fmt.Sprintf(tasks, "oil"), "  bus-1: {kind: bus, tags: {road: hills}, components: {engine: {kind: engine}}}\n", ""},
		"tasks": {fmt.Sprintf(tasks, "oil"), fmt.Sprintf(grit, 1) + fmt.Sprintf(grit, 2) + fmt.Sprintf(grit, 3),
			`rules.yaml:5:3: tasks "oil in hills" (rules.yaml:4:3) and "oil of gritters" are both ` + "`over`" + ` "oil", and both match engine of grit-1 and 2 others` + "\n" +
				"hint: narrow one `where`, or write `over: [oil in hills, oil]` in the one that goes first"},
	} {
		if got := clashing(t, c.book, c.vehicles); got != c.want {
			t.Errorf("%s: got\n%s\nwant\n%s", what, got, c.want)
		}
	}
}

// A where that asks how much a component holds, and two meters of a kind.
func TestAskedOfTheRegister(t *testing.T) {
	const deep = "rules: {deep: {on: sample, where: component.capacity > 5 || component.kind == \"axle\", raise: value(\"Fe\") > 1, stage: advisory}}\n"
	const filter = "tasks: {air filter: {where: 'component.kind == \"diesel engine\"', every: {hours: 500 h}, cautions: [hot fluid]}}\n"
	const meters = "    meters: {engine hours: hours, idle hours: hours, odometer: distance}\n"
	for what, c := range map[string]struct{ more, vehicles, want string }{
		"an unknown capacity": {deep, whole,
			"vehicles.yaml:6:7: engine of bus-07 has no capacity, so that nobody can tell whether \"deep\" applies to it\n" +
				"          engine: {kind: diesel engine}\n          ^^^^^^\nhint: give it its own, as `capacity: 6 L`\n" +
				"vehicles.yaml:7:7: gearbox of bus-07 has no capacity, so that nobody can tell whether \"deep\" applies to it\n" +
				"          gearbox: {kind: automatic transmission}\n          ^^^^^^^\nhint: give it its own, as `capacity: 6 L`"},
		"two hour meters": {filter, whole + meters,
			"vehicles.yaml:8:5: bus-07 has engine hours and idle hours, and \"air filter\" goes by the first: engine hours\n" +
				"        meters: {engine hours: hours, idle hours: hours, odometer: distance}\n        ^^^^^^\n" +
				"hint: put the one that counts first, name it at the component (`meters: [engine hours]`), or in the task (`every: {hours: …, of: engine hours}`)"},
		"two hour meters, a rule": {"rules: {long: {on: reading, raise: hours() > 900, stage: advisory}}\n", whole + meters,
			"vehicles.yaml:8:5: bus-07 has engine hours and idle hours, and \"long\" goes by the first: engine hours\n" +
				"        meters: {engine hours: hours, idle hours: hours, odometer: distance}\n        ^^^^^^\n" +
				"hint: put the one that counts first, name it at the component (`meters: [engine hours]`), or in the task (`every: {hours: …, of: engine hours}`)"},
		"one that the component names": {filter, "  bus-07:\n    kind: tractor unit\n    tags: {fuel: diesel}\n    components:\n      engine: {kind: diesel engine, meters: [engine hours]}\n      gearbox: {kind: automatic transmission}\n" + meters, ""},
		"no work by hours":             {"", whole + meters, ""},
	} {
		if got := asked(t, c.more, c.vehicles); got != c.want {
			t.Errorf("%s: got\n%s\nwant\n%s", what, got, c.want)
		}
	}
}
