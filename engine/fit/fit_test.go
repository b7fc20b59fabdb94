package fit_test

import (
	"strings"
	"testing"
	"time"

	"telltale/engine/fit"
	"telltale/engine/intake"
	"telltale/rules"
)

const book = `book: 1
tasks:
  engine oil: {where: 'component.kind in ["petrol engine", "diesel engine"]', every: {time: 12 months}}
  fuel filter: {where: 'vehicle.tags["fuel"] == "diesel"', every: {time: 12 months}}
  transmission fluid: {where: 'component.kind == "automatic transmission"', every: {time: 12 months}}
  harness: {where: 'vehicle.kind == "tractor unit"', every: {time: 12 months}}
rules:
  gearbox iron: {on: sample, where: 'component.kind == "automatic transmission" && component.fluid != "oil"', raise: value("Fe") > 10, stage: advisory, say: "x", advise: "y", source: z}
`

// asked are the questions of a book, with more rules at its end, and of a register.
func asked(t *testing.T, more, vehicles string) string {
	t.Helper()
	b, err := rules.Load([]rules.File{{Name: "rules.yaml", Text: []byte(book)}, {Name: "own.yaml", Text: []byte("book: 1\n" + more)}})
	if err != nil {
		t.Fatal(err)
	}
	text := []byte("vehicles:\n" + vehicles)
	events, err := intake.Register("vehicles.yaml", text, time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	questions, notes := fit.Questions(b, fit.ReadRegister("vehicles.yaml", text, events))
	for _, q := range questions {
		out = append(out, q.String())
	}
	for _, n := range notes {
		out = append(out, "note: "+n.String())
	}
	return strings.Join(out, "\n")
}

// whole is a vehicle to which all of the book applies.
const whole = `  bus-07:
    kind: tractor unit
    tags: {fuel: diesel}
    components:
      engine: {kind: diesel engine}
      gearbox: {kind: automatic transmission}
`

func TestQuestions(t *testing.T) {
	for what, c := range map[string]struct{ more, vehicles, want string }{
		"all fits":          {"", whole, ""},
		"the American name": {"", whole + "  van-1: {kind: van, components: {engine: {kind: gasoline engine}}}\n", ""},
		"one of two kinds is misspelt": {"tasks:\n  belt: {where: 'component.kind in [\"petrol engine\", \"deisel engine\"]', every: {time: 12 months}}\n  hose: {where: 'component.kind in [\"petrol engine\", \"deisel engine\"]', every: {time: 12 months}}\n", whole + "  van-1: {kind: van, components: {engine: {kind: petrol engine}}}\n",
			`own.yaml:3:54: task "belt" asks for "deisel engine", which no vehicle has
hint: the register has "diesel engine": which of the two is meant?
own.yaml:4:54: task "hose" asks for "deisel engine", which no vehicle has
hint: the register has "diesel engine": which of the two is meant?`},
		"a baseline for a misspelt kind": {"baselines: {oil: {where: 'component.kind == \"diesel enigne\"', fluid age: 10000 km, source: invented, mean: {Fe: 20}}}\n", whole,
			`own.yaml:2:45: baseline "oil" asks for "diesel enigne", which no vehicle has
hint: the register has "diesel engine": which of the two is meant?`},
		"a kind that the others spell otherwise": {"tasks: {belt: {where: 'component.kind == \"deisel engine\"', every: {time: 12 months}}}\n", "  van-1: {kind: van, components: {engine: {kind: petrol engine}}}\n",
			`own.yaml:2:42: task "belt" applies to no vehicle: none has a component of kind "deisel engine"
hint: others of the book ask for "diesel engine": which of the two is meant?
rules.yaml:4:24: task "fuel filter" applies to no vehicle: none has the tag fuel
hint: give each vehicle its own in vehicles.yaml, as tags: {fuel: diesel}
note: rules.yaml:5:31: task "transmission fluid" applies to no vehicle: none has a component of kind "automatic transmission"
note: rules.yaml:6:20: task "harness" applies to no vehicle: none is of kind "tractor unit"
note: rules.yaml:8:37: rule "gearbox iron" applies to no vehicle: none matches ` + "`component.kind == \"automatic transmission\" && component.fluid != \"oil\"`"},
		"a variant of a file": {"tasks: {a: {every: {time: 1 months}}, b: {over: a, where: 'vehicle.kind == \"lorry\"', every: {time: 2 months}}}\n", whole, ""},
		"no vehicles":         {"", "  old: {kind: van, retired: yes}\n", ""},
		"a kind that nobody asks": {"", whole + "  van-1: {kind: van, components: {engine: {kind: steam engine}, gearbox: {kind: diesel engine}}}\n", `vehicles.yaml:8:50: no task or rule asks for a component of kind "steam engine": engine of van-1
      van-1: {kind: van, components: {engine: {kind: steam engine}, gearbox: {kind: diesel engine}}}
                                                     ^^^^^^^^^^^^
hint: the rules ask for automatic transmission (or automatic gearbox), diesel engine and petrol engine (or gasoline engine)`},
		"kinds and tags that are nearly asked for": {"", whole + `  van-1: {kind: tractor unnit, tags: {fuel: disel}, components: {engine: {kind: petrol engine}}}
`, `vehicles.yaml:8:17: no task or rule asks for a vehicle of kind "tractor unnit": van-1
      van-1: {kind: tractor unnit, tags: {fuel: disel}, components: {engine: {kind: petrol engine}}}
                    ^^^^^^^^^^^^^
hint: did you mean ` + "`tractor unit`" + `?
vehicles.yaml:8:45: no task or rule asks for the tag fuel as "disel": van-1
      van-1: {kind: tractor unnit, tags: {fuel: disel}, components: {engine: {kind: petrol engine}}}
                                                ^^^^^
hint: did you mean ` + "`diesel`" + `?`},
		"a vehicle without a task": {"", whole + "  trailer: {kind: trailer}\n", `vehicles.yaml:8:3: no task applies to trailer
      trailer: {kind: trailer}
      ^^^^^^^
hint: compare its kind, tags and components with ` + "`where`" + ` of the tasks`},
		"what applies to nobody": {`tasks:
  test: {where: 'vehicle.name == "bus-07"', every: {time: 12 months}}
  hills: {where: 'vehicle.tags["road"] == "hills"', every: {time: 12 months}, shorten: 'vehicle.tags["load"] == "heavy" ? 0.5 : 1'}
  lift: {where: 'component.name == "tail lift"', every: {time: 12 months}}
  snow: {every: {time: 12 months}, shorten: 'vehicle.tags["salt"] == "yes" ? 0.5 : 1'}
`, "  bus-07: {name: Bus 7, kind: van, tags: {road: hill}, components: {engine: {kind: diesel engine}}}\n", `own.yaml:3:17: task "test" applies to no vehicle: vehicle.name is the display name, "Bus 7", and "bus-07" is the key
hint: write vehicle.key == "bus-07"
own.yaml:4:3: "hills" asks for the tag load, which no vehicle has
hint: give each vehicle its own in vehicles.yaml, as tags: {load: heavy}
own.yaml:4:43: task "hills" applies to no vehicle: none has the tag road as "hills"
hint: the register has "hill": which of the two is meant?
own.yaml:5:17: task "lift" applies to no vehicle: none has a component called "tail lift"
hint: the register calls them engine
own.yaml:6:3: "snow" asks for the tag salt, which no vehicle has
hint: give each vehicle its own in vehicles.yaml, as tags: {salt: yes}
rules.yaml:4:24: task "fuel filter" applies to no vehicle: none has the tag fuel
hint: give each vehicle its own in vehicles.yaml, as tags: {fuel: diesel}
vehicles.yaml:2:49: no task or rule asks for the tag road as "hill": bus-07
      bus-07: {name: Bus 7, kind: van, tags: {road: hill}, components: {engine: {kind: diesel engine}}}
                                                    ^^^^
hint: did you mean ` + "`hills`" + `?
note: rules.yaml:5:31: task "transmission fluid" applies to no vehicle: none has a component of kind "automatic transmission"
note: rules.yaml:6:20: task "harness" applies to no vehicle: none is of kind "tractor unit"
note: rules.yaml:8:37: rule "gearbox iron" applies to no vehicle: none matches ` + "`component.kind == \"automatic transmission\" && component.fluid != \"oil\"`"},
	} {
		t.Run(what, func(t *testing.T) {
			if got := asked(t, c.more, c.vehicles); got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// TestTags: no tag that a book asks for is secret, wherever it is asked for.
func TestTags(t *testing.T) {
	b, err := rules.Load([]rules.File{{Name: "rules.yaml", Text: []byte(book + `  worn: {on: sample, raise: 'value("Fe") > (vehicle.tags["road"] in ["hills", "gravel"] ? 1 : 2)', stage: advisory, say: "x", advise: "y", source: z}
`)}})
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, tag := range fit.Tags(b) {
		out = append(out, tag.Name+": "+strings.Join(tag.Texts, ", ")+"; "+tag.Example+"; "+strings.Join(tag.By, ", "))
	}
	components, vehicles := fit.Kinds(b)
	got := strings.Join(out, "\n") + "\n" + strings.Join(components, ", ") + "\n" + strings.Join(vehicles, ", ")
	if want := `fuel: diesel; tags: {fuel: diesel}; fuel filter
road: gravel, hills; tags: {road: gravel}; worn
automatic transmission (or automatic gearbox), diesel engine, petrol engine (or gasoline engine)
tractor unit`; got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
