package schema_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"gopkg.in/yaml.v3"

	"telltale/engine/intake"
	"telltale/engine/intake/table"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/schema"
)

// compiled are the schemas that compile has made, by name.
var compiled = map[string]*jsonschema.Schema{}

func compile(t *testing.T, name string) (*jsonschema.Schema, map[string]any) {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schema.Of(name)))
	if err != nil {
		t.Fatal(err)
	}
	if s := compiled[name]; s != nil {
		return s, doc.(map[string]any)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	compiled[name] = s
	return s, doc.(map[string]any)
}

// value is what an editor sees of a YAML file: dates are texts, as in YAML 1.2.
func value(n *yaml.Node) any {
	switch n.Kind {
	case yaml.DocumentNode:
		return value(n.Content[0])
	case yaml.MappingNode:
		m := map[string]any{}
		for i := 0; i < len(n.Content); i += 2 {
			m[n.Content[i].Value] = value(n.Content[i+1])
		}
		return m
	case yaml.SequenceNode:
		list := []any{}
		for _, c := range n.Content {
			list = append(list, value(c))
		}
		return list
	}
	switch n.Tag {
	case "!!int", "!!float":
		return json.Number(n.Value)
	case "!!bool":
		b, _ := strconv.ParseBool(n.Value)
		return b
	}
	return n.Value
}

func parse(t *testing.T, text []byte) *yaml.Node {
	t.Helper()
	var n yaml.Node
	if err := yaml.Unmarshal(text, &n); err != nil {
		t.Fatal(err)
	}
	return &n
}

// load reads a file as the program does.
func load(name string, text []byte) error {
	var err error
	switch name {
	case "rules":
		_, err = rules.Load([]rules.File{{Name: "a.yaml", Text: text}})
	case "people":
		_, err = people.Parse("people.yaml", text)
	case "vehicles":
		_, err = intake.Register("vehicles.yaml", text, time.Unix(0, 0))
	case "import":
		_, err = table.ReadMapping("map.yaml", text)
	}
	return err
}

// everything is a rule file with every key of the language.
const everything = `book: 1
units: {distance: mi, volume: qt}
cautions: {bees: Leave them alone.}
baselines:
  b: {where: component.kind == "gearbox", fluid age: 500 h, source: invented, mean: {Fe: 90, Cu: 40 mg/kg}, spread: {Fe: 12}, fresh: {P: 290}}
  f: {where: component.kind == "engine", from: fleet, group by: [component.fluid, 'vehicle.tags["road"]'], at least: {samples: 12, vehicles: 4}, of the last: 24 months}
  g: {where: component.kind == "axle", from: fleet, group by: vehicle.kind, at least: 12, fresh: {P: 290}, source: invented}
tasks:
  t:
    title: T
    was: s
    where: vehicle.kind == "van"
    every: {distance: 10000 mi, time: 12 months, hours: 500 h}
    early: {distance: 500 mi, time: 3 weeks}
    tolerance: {time: 2 weeks}
    shorten: 1
    unknown history: from first reading
    count from: schedule
    statutory: yes
    needs: [{fluid: oil, volume: 4.5 qt}, {part: filter, count: 2}]
    cautions: hot fluid
    source: {every: {distance: the maker's booklet}, otherwise: common practice}
    follow up: {check: {after: {distance: 300 mi}, early: {distance: 50 mi}, tolerance: 50%, lapses: {distance: 3000 mi}, title: Look, cautions: [hot fluid]}}
rules:
  m:
    on: [sample, clock]
    was: n
    title: M
    where: component.kind == "gearbox"
    measure: value("Fe")
    above: {advisory: 10, caution: value("Cu"), warning: 30}
    deadband: 0.5
    confirm: {advisory: 3}
    say: Iron is ${measure}
    points to: gears
    advise: {warning: Stop., caution: Look.}
    follow up: {caution: {again: {within: {time: 30 days}, settled by: sample}}}
    pull in: {caution: {oil: {within: {distance: 300 mi, time: 30 days}}}}
    cautions: {warning: [hot fluid]}
    masked: no
    source: invented
  f: {on: sample, measure: value("Fe"), above: {caution: fill in}, source: the laboratory}
  p: {on: sample, raise: has("K"), clear: '!has("K")', stage: warning, advise: Stop.}
  q: {on: reading, measure: odometer(), below: {caution: 3}, confirm: 2}
cases:
  c: {given: [2031-04-02 sample v gearbox Fe 3], expect: none, of: m, baselines: {own: {source: invented, fluid age: 1 km, mean: {Fe: 3}}}}
  d:
    given: [2031-04-02 sample v gearbox Fe 13]
    expect: [{on: 2031-04-02, vehicle: v, component: gearbox, rule: m, to: advisory, transition: raised}]
`

const everybody = `people:
  ines: {name: Ines, mail: ines@example.org, zone: Europe/London, distance: mi, volume: gal, dates: year first, spelling: en-US, digest: 0 7 * * 1, nothing due: say so, quiet: "21:00 to 07:00"}
  north: {mail: north@example.org}
tell:
  e: {who: [ines, people of the vehicle], where: statutory, stages: warning, when: at once, by: mail, remind after: 2 days, stand-in: north, stand-in after: 4 days}
`

// everySample, everyService and everyVehicle are mappings with every key.
const everySample = `import: samples
source: /laboratory/valley
encoding: windows-1252
delimiter: semicolon
heading: 3
decimal mark: comma
thousands mark: blank
date order: day first
century: 2000
zone: Europe/London
time of day: "18:00"
not measured: ["-"]
id: [Report, Unit]
vehicle: {column: Fleet no., names: {B7: bus-07}, leave out: [POOL]}
date: Sampled
time: {column number: 5}
reported: {always: 2031-02-10}
component: {always: transmission}
number: Report
revision: Rev
repeat: Again
taken: Taken
laboratory: Lab
method: Method
point: Point
age: {column: Fluid km, unit: km}
average age: {column: Average h, unit: h}
density: {column number: 6, unit: g/mL}
meters: {odometer: {column: Km, unit: km}}
below: ["<"]
above: ">"
not detected: [ND]
trace: [tr]
results: {Cu: {column: Copper, unit: mg/kg, limit: 0.5, average: Copper avg}, Iron: {column: Fe, unit: ppm, average: {column number: 7}}, KV100: {column: Visc, unit: mm2/s}}
`

const everyService = `import: services
source: /workshop/north
zone: UTC
id: row number
vehicle: Reg
date: Date
tasks: {column: Work, between: ",", names: {Oil: engine oil}, leave out: [Wash]}
component: Part
meters: {odometer: {column: Km, unit: mi}}
drained: {column: Out, unit: L}
filled: {column: In, unit: qt}
fluid: Fluid
flush: {always: "no"}
filter: {column: Filter, names: {x: "yes"}}
valid until: Expires
defect: Defect
by: Mechanic
note: Remarks
`

const everyVehicle = `import: vehicles
encoding: utf-8
delimiter: semicolon
heading: 2
decimal mark: comma
thousands mark: point
date order: day first
century: 2000
not measured: ["-"]
vehicle: Reg
name: Customer
kind: {column: Type, names: {C: car}}
in service: First used
zone: {always: Europe/London}
meters: {odometer: distance, engine hours: hours}
tags: {fuel: {column: Fuel, names: {P: petrol}}}
people: {column: Told, between: ";"}
retired: Sold
components:
  engine: {kind: {column: Engine, leave out: [E]}, fluid: Oil, capacity: {column number: 7, unit: qt}, source: Manual}
`

// tableExamples are the mappings of the reference.
func tableExamples(t *testing.T) map[string][]byte {
	text, err := os.ReadFile("../../engine/intake/table/README.md")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{"everySample": []byte(everySample), "everyService": []byte(everyService), "everyVehicle": []byte(everyVehicle)}
	for i, m := range regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllSubmatch(text, -1) {
		out["example "+strconv.Itoa(i)] = m[1]
	}
	return out
}

// files are those that the schemas must let in, by schema.
func files(t *testing.T) map[string]map[string][]byte {
	t.Helper()
	out := map[string]map[string][]byte{"rules": {"everything": []byte(everything)}, "people": {"everybody": []byte(everybody)}, "vehicles": {}, "import": tableExamples(t)}
	add := func(name, glob string) {
		paths, err := filepath.Glob(glob)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range paths {
			text, err := os.ReadFile(p)
			if err != nil {
				t.Fatal(err)
			}
			out[name][p] = text
		}
	}
	add("rules", "../../samples/rules/*.yaml")
	add("rules", "../chapters/*.yaml")
	add("people", "../../samples/people.yaml")
	add("vehicles", "../../samples/vehicles.yaml")
	if len(out["rules"]) < 3 || len(out["people"]) < 2 || len(out["vehicles"]) < 1 || len(out["import"]) < 6 {
		t.Fatal("the samples are not where they were")
	}
	return out
}

// unfit are faults of what is named elsewhere: a form can be right without them.
var unfit = regexp.MustCompile(`confirm counts samples`)

func TestSchemasLetFilesIn(t *testing.T) {
	for name, list := range files(t) {
		s, _ := compile(t, name)
		for path, text := range list {
			if err := s.Validate(value(parse(t, text))); err != nil {
				t.Errorf("%s: %v", path, err)
			}
			if err := load(name, text); strings.HasPrefix(path, "every") && err != nil && !unfit.MatchString(err.Error()) {
				t.Errorf("%s: %v", path, err)
			}
		}
	}
}

// Each mapping of each file with one key more, and each value made a list of
// lists, is refused.
func TestSchemasKeepMutantsOut(t *testing.T) {
	for name, list := range files(t) {
		s, _ := compile(t, name)
		for path, text := range list {
			docs := []*yaml.Node{parse(t, text)}
			if name != "import" { // whose keys need each other, and whose files are short
				docs = pieces(docs[0])
			}
			for _, doc := range docs {
				if err := s.Validate(value(doc)); err != nil {
					t.Errorf("%s: a piece of it is kept out: %v", path, err)
				}
				mutants(doc, func(what string, n *yaml.Node) {
					if s.Validate(value(doc)) == nil {
						t.Errorf("%s:%d: let in with %s", path, n.Line, what)
					}
				})
			}
		}
	}
}

// pieces are the document with one entry of one section each, so that the time that its
// mutants take does not grow with the square of its length.
func pieces(doc *yaml.Node) (out []*yaml.Node) {
	top := doc.Content[0]
	var plain []*yaml.Node
	for i := 1; i < len(top.Content); i += 2 {
		if top.Content[i].Kind == yaml.ScalarNode {
			plain = append(plain, top.Content[i-1:i+1]...)
		}
	}
	for i := 1; i < len(top.Content); i += 2 {
		step := 1
		if top.Content[i].Kind == yaml.MappingNode {
			step = 2
		}
		for entry := range slices.Chunk(top.Content[i].Content, step) {
			section := *top.Content[i]
			section.Content = entry
			whole := *top
			whole.Content = append(slices.Clone(plain), top.Content[i-1], &section)
			out = append(out, &yaml.Node{Kind: yaml.DocumentNode, Content: []*yaml.Node{&whole}})
		}
	}
	return out
}

// mutants changes the document in one place at a time.
func mutants(n *yaml.Node, try func(what string, at *yaml.Node)) {
	was := *n
	if n.Kind == yaml.MappingNode {
		n.Content = append(slices.Clone(was.Content), &yaml.Node{Kind: yaml.ScalarNode, Value: "zzz"}, &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!int", Value: "1"})
		try("a key more", &was)
		*n = was
	}
	if n.Kind == yaml.ScalarNode {
		inner := &yaml.Node{Kind: yaml.SequenceNode, Content: []*yaml.Node{{Kind: yaml.SequenceNode}}}
		*n = *inner
		try("a list of lists for "+was.Value, &was)
		*n = was
	}
	for i, c := range n.Content {
		if n.Kind != yaml.MappingNode || i%2 == 1 {
			mutants(c, try)
		}
	}
}

// What the check refuses for its form, the schema refuses too.
func TestSchemasRefuse(t *testing.T) {
	for _, c := range []struct{ name, old, new string }{
		{"rules", "book: 1\n", "book: 2\n"},
		{"rules", "distance: mi,", "distance: km/h,"},
		{"rules", "mean: {Fe: 90", "mean: {Xx: 90"},
		{"rules", "fluid age: 500 h, ", ""},
		{"rules", "distance: 10000 mi", "distance: 10000"},
		{"rules", "hours: 500 h", "hours: 500 km"},
		{"rules", "time: 12 months", "time: 12 moons"},
		{"rules", "count from: schedule", "count from: calendar"},
		{"rules", "statutory: yes", "statutory: perhaps"},
		{"rules", "{part: filter, count: 2}", "{part: filter, volume: 2 L}"},
		{"rules", "after: {distance: 300 mi}, ", ""},
		{"rules", "on: [sample, clock]", "on: [sample, moon]"},
		{"rules", "    above: {advisory: 10, caution: value(\"Cu\"), warning: 30}\n", ""},
		{"rules", "above: {advisory: 10,", "above: {terrible: 10,"},
		{"rules", "stage: warning", "stage: due"},
		{"rules", "expect: none", "expect: nothing"},
		{"rules", "on: 2031-04-02,", "on: April,"},
		{"rules", ", to: advisory, transition: raised", ""},
		{"people", "mail: ines@example.org", "mail: ines"},
		{"people", "  ines: {", "  i nes: {"},
		{"people", "dates: year first", "dates: never"},
		{"people", "who: [ines, people of the vehicle], ", ""},
		{"people", ", stand-in after: 4 days", ""},
		{"people", "when: at once", "when: soon"},
		{"import", "import: samples", "import: weather"},
		{"import", "import: samples", "import: readings"},
		{"import", "zone: Europe/London\n", ""},
		{"import", "encoding: windows-1252", "encoding: cp1252"},
		{"import", "delimiter: semicolon", "delimiter: colon"},
		{"import", "heading: 3", "heading: 0"},
		{"import", "decimal mark: comma", "decimal mark: blank"},
		{"import", "century: 2000", "century: 1950"},
		{"import", `time of day: "18:00"`, "time of day: noon"},
		{"import", "{column: Fleet no., names", "{column: Fleet no., always: bus-07, names"},
		{"import", "number: Report\n", ""},
		{"import", "age: {column: Fluid km, unit: km}", "age: Fluid km"},
		{"import", "age: {column: Fluid km, unit: km}", "age: {column: Fluid km, unit: L}"},
		{"import", "limit: 0.5", "limit: 0"},
		{"import", "results: {Cu: {column: Copper", "results: {Xx: {column: Copper"},
		{"import", "results: {Cu", "result: {Cu"},
	} {
		text := map[string]string{"rules": everything, "people": everybody, "import": everySample}[c.name]
		mutant := strings.Replace(text, c.old, c.new, 1)
		s, _ := compile(t, c.name)
		if mutant == text || s.Validate(value(parse(t, []byte(mutant)))) == nil {
			t.Errorf("%s: let in with %q for %q", c.name, c.new, c.old)
		}
		if load(c.name, []byte(mutant)) == nil {
			t.Errorf("%s: the check lets in %q for %q", c.name, c.new, c.old)
		}
	}
}

var known = regexp.MustCompile(`hint: known here: (.*)`)

// The keys of the schemas are those that the program knows: it names them itself
// where a key is none of them.
func TestKeysAreTheSame(t *testing.T) {
	const strange = "qqqqqqqqqq: 1"
	for _, c := range []struct{ name, text, path string }{
		{"rules", "book: 1\n" + strange, ""},
		{"rules", "book: 1\nunits: {" + strange + "}", "properties units"},
		{"rules", "book: 1\nbaselines: {a: {fresh: {P: 1}, " + strange + "}}", "properties baselines additionalProperties"},
		{"rules", "book: 1\ntasks: {a: {every: {time: 1 day}, " + strange + "}}", "properties tasks additionalProperties"},
		{"rules", "book: 1\ncases: {a: {given: [x], expect: none, " + strange + "}}", "properties cases additionalProperties"},
		{"people", strange, ""},
		{"people", "people: {a: {" + strange + "}}", "properties people additionalProperties"},
		{"people", "people: {a: {mail: a@b.example}}\ntell: {e: {who: a, " + strange + "}}", "properties tell additionalProperties"},
		{"vehicles", "vehicles: {a: {kind: van, " + strange + "}}", "properties vehicles additionalProperties"},
		{"vehicles", "vehicles: {a: {kind: van, components: {c: {kind: k, " + strange + "}}}}", "properties vehicles additionalProperties properties components additionalProperties"},
		{"import", everySample + strange, "oneOf 0"},
		{"import", strings.Replace(everyService, "services", "readings", 1), "oneOf 1"},
		{"import", everyService + strange, "oneOf 2"},
		{"import", everyVehicle + strange, "oneOf 3"},
		{"import", strings.Replace(everyVehicle, "fluid: Oil", strange, 1), "oneOf 3 properties components additionalProperties"},
		{"import", strings.Replace(everyVehicle, "between: \";\"", strange, 1), "oneOf 3 properties people anyOf 1"},
		{"import", strings.Replace(everySample, "names: {B7: bus-07}", strange, 1), "oneOf 0 properties vehicle anyOf 1"},
		{"import", strings.Replace(everySample, "limit: 0.5", strange, 1), "oneOf 0 properties results additionalProperties"},
		{"import", strings.Replace(everyService, "names: {Oil: engine oil}", strange, 1), "oneOf 2 properties tasks anyOf 1"},
		{"import", strings.Replace(everyService, "unit: L", strange, 1), "oneOf 2 properties drained"},
	} {
		err := load(c.name, []byte(c.text))
		if err == nil || !known.MatchString(err.Error()) {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		want := strings.Split(known.FindStringSubmatch(err.Error())[1], ", ")
		slices.Sort(want)
		_, doc := compile(t, c.name)
		var next any = doc
		for _, key := range strings.Fields(c.path) {
			if list, ok := next.([]any); ok {
				i, _ := strconv.Atoi(key)
				next = list[i]
				continue
			}
			next = next.(map[string]any)[key]
		}
		doc = next.(map[string]any)
		if got := slices.Sorted(maps.Keys(doc["properties"].(map[string]any))); !slices.Equal(got, want) {
			t.Errorf("%s: the schema of %s has %v, the program knows %v", c.text, c.name, got, want)
		}
	}
}

// A mapping names the encodings that the program reads.
func TestEncodingsAreTheSame(t *testing.T) {
	err := load("import", []byte(strings.Replace(everySample, "windows-1252", "zzz", 1)))
	m := regexp.MustCompile(`encoding must be (.*) or (\S+), not`).FindStringSubmatch(fmt.Sprint(err))
	if m == nil {
		t.Fatal(err)
	}
	_, doc := compile(t, "import")
	var got []string
	for _, v := range doc["oneOf"].([]any)[0].(map[string]any)["properties"].(map[string]any)["encoding"].(map[string]any)["enum"].([]any) {
		got = append(got, v.(string))
	}
	if want := append(strings.Split(m[1], ", "), m[2]); !slices.Equal(got, want) {
		t.Errorf("the schema has %v, the program %v", got, want)
	}
}

// The reference of the language names every key that the schema has.
func TestReadmeNamesKeys(t *testing.T) {
	text, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, doc := compile(t, "rules")
	var walk func(n any)
	walk = func(n any) {
		if list, ok := n.([]any); ok {
			for _, v := range list {
				walk(v)
			}
		}
		m, _ := n.(map[string]any)
		keys, _ := m["properties"].(map[string]any)
		for key := range keys {
			if !strings.Contains(string(text), "`"+key+"`") && !regexp.MustCompile(`\b`+regexp.QuoteMeta(key)+`:`).Match(text) {
				t.Errorf("rules/README.md does not name `%s`", key)
			}
		}
		for _, v := range m {
			walk(v)
		}
	}
	walk(doc)
}

func TestNames(t *testing.T) {
	for _, name := range schema.Names {
		if !json.Valid(schema.Of(name)) {
			t.Errorf("%s is no JSON", name)
		}
	}
	if schema.Of("weather") != nil {
		t.Error("a schema of the weather")
	}
}
