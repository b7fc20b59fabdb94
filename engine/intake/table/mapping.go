package table

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/lab"
	"telltale/rules/analytes"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/zone"
)

// Mapping says how a row of a table becomes an event. It is immutable and safe for
// concurrent use.
type Mapping struct {
	name      string
	kind      event.Kind // SampleEvent, ReadingEvent, ServiceEvent or VehicleEvent
	source    string
	encoding  string
	delimiter rune
	heading   int // row of the headings, from 1
	marks     marks
	dates     calendar

	// How laboratories say that there is no number; without case.
	below, above                    []string // marks before a limit
	notDetected, trace, notMeasured []string
	id                              []*value // columns whose cells name the row; nil for the kind's own
	idByRow                         bool
	fields                          map[string]*value
	meters                          []named
	results                         []named
	byHand                          bool // samples that were measured by hand on the vehicle, not of a fluid
	long                            *longResult
	of                              *ofVehicles // of a table of vehicles
}

// value is where something in the events comes from: a column, or the mapping itself.
type value struct {
	key      string // as the mapping calls it: "vehicle", "results: Cu"
	column   string
	number   int    // the column's number from 1, for tables of which two headings are the same
	always   string // in place of a column
	names    map[string]string
	leaveOut []string
	unit     string
	split    string   // what stands between several in a cell
	limit    *float64 // of detection, for results that are not detected
	average  *value   // the laboratory's, beside a result; nil where there is none
}

// entry is the value's line of the mapping, if it said this; "" where there is no such
// line, as id goes by headings alone.
func (v *value) entry(says string) string {
	if v.key == "id" {
		column, ok := strings.CutPrefix(says, "column: ")
		if !ok {
			return ""
		}
		return "id: [" + column + "]"
	}
	if v.unit != "" {
		says += ", unit: " + v.unit
	}
	return strings.ReplaceAll(v.key, ": ", ": {") + ": {" + says + strings.Repeat("}", 1+strings.Count(v.key, ": "))
}

// named is a value under a name of the user's: a meter, an analyte.
type named struct {
	name string
	*value
}

// longResult is a table with one result in each row.
type longResult struct{ analyte, result, unit *value }

// averaged is the key of a laboratory's average beside a result.
const averaged = "average"

// byHandKey has what is measured by hand, in place of results.
const byHandKey = "measures"

// kinds by the word in the mapping, and the keys beside those of each kind's fields.
var (
	kindWords  = []string{"samples", "readings", "services", "vehicles"}
	kinds      = []event.Kind{event.SampleEvent, event.ReadingEvent, event.ServiceEvent, event.VehicleEvent}
	resultKeys = []string{"result", byHandKey, "below", "above", "not detected", "trace"} // of samples, beside the keys of their fields
	commonKeys = []string{"import", "source", "encoding", "delimiter", "heading", "decimal mark", "thousands mark", "date order", "century",
		"zone", "time of day", "not measured", "id", "vehicle", "date", "time", "reported"}
	headFields = []intake.Field{{Key: "vehicle"}, {Key: "date"}, {Key: "time"}, {Key: "reported"}}
	// required is what no event of the kind can be without.
	required = map[event.Kind][]string{
		event.SampleEvent:  {"vehicle", "component", "number", "date"},
		event.ReadingEvent: {"vehicle", "date", "meters"},
		event.ServiceEvent: {"vehicle", "date"},
	}
	examples = map[string]string{
		"vehicle": "vehicle: {column: Unit}", "component": "component: {column: Compartment}, or component: {always: transmission}",
		"number": "number: {column: Report no.}", "date": "date: {column: Date}", "meters": "meters: {odometer: {column: Km, unit: km}}",
	}
)

// ReadMapping reads a mapping. What is wrong in it is a source.Faults.
func ReadMapping(name string, text []byte) (*Mapping, error) {
	s, root := source.Read(name, text)
	if root == nil {
		return nil, s.Err()
	}
	r := &mappingReader{Document: s, Mapping: &Mapping{name: name, fields: map[string]*value{}}}
	r.read(root)
	if err := s.Err(); err != nil {
		return nil, err
	}
	return r.Mapping, nil
}

type mappingReader struct {
	*source.Document
	*Mapping
}

func (r *mappingReader) read(root *yaml.Node) {
	top := r.keys(root)
	switch {
	case top == nil:
		return
	case r.kind == event.VehicleEvent:
		r.vehicles(root, top)
		return
	}
	r.form(root, top)
	r.wording(top)
	for _, f := range slices.Concat(headFields, intake.Fields(r.kind)) {
		switch n := top[f.Key]; {
		case n == nil || f.Key == "results":
		case f.Key == "meters":
			r.meters = r.listed("meters", n, []unit.Kind{unit.Distance, unit.Time})
		default:
			r.fields[f.Key] = r.value(f.Key, n, f.Units)
		}
	}
	needed := required[r.kind]
	if n := top[byHandKey]; n != nil {
		r.handMade(root, n, top)
		needed = []string{"vehicle", "date"}
	} else {
		r.laboratory(root, top)
	}
	r.identity(top["id"])
	for _, key := range needed {
		if top[key] == nil {
			r.Fault(root, "write "+examples[key], "the mapping does not say which column the %s of %s is in", key, kindWords[slices.Index(kinds, r.kind)])
		}
	}
}

// keys reads the file's keys once it is known what it imports.
func (r *mappingReader) keys(root *yaml.Node) map[string]*yaml.Node {
	var word *yaml.Node
	for _, p := range r.Entries(root, "the mapping") {
		if p.Key.Value == "import" {
			word = p.Value
		}
	}
	if word == nil {
		if r.Err() == nil {
			r.Fault(root, "begin with import: samples, readings, services or vehicles", "the mapping does not say what it imports")
		}
		return nil
	}
	r.kind = kinds[r.Choice(word, "import", kindWords...)]
	return r.Document.Mapping(root, "a mapping of "+word.Value, keysOf(r.kind)...)
}

// keysOf are all keys of a mapping of a kind.
func keysOf(k event.Kind) []string {
	if k == event.VehicleEvent {
		return slices.Concat(vehicleKeys, intake.Keys(intake.Fields(k)))
	}
	keys := slices.Concat(commonKeys, intake.Keys(intake.Fields(k)))
	if k == event.SampleEvent {
		keys = append(keys, resultKeys...)
	}
	return keys
}

// form reads how the file is written.
func (r *mappingReader) form(root *yaml.Node, top map[string]*yaml.Node) {
	r.source = r.Text(top["source"], "source")
	if top["source"] == nil {
		r.Fault(root, "write source: /laboratory/NAME; with the row's id it identifies each entry, so that the same file can be imported again", "the mapping names no source")
	}
	r.writing(top)
	r.calendar(root, top)
}

// writing reads how cells and numbers are written.
func (r *mappingReader) writing(top map[string]*yaml.Node) {
	r.encoding = "utf-8"
	if n := top["encoding"]; n != nil {
		r.encoding = encodingNames[r.Choice(n, "encoding", encodingNames...)]
	}
	r.delimiter = []rune(delimiterRunes + ",;|")[r.Choice(top["delimiter"], "delimiter", append(Delimiters(), ",", ";", "|")...)]
	r.heading = 1
	if n := top["heading"]; n != nil {
		r.heading = r.Whole(n, "heading (the row of the headings)", 1, 1000)
	}
	r.marks = marks{r.mark(top["decimal mark"], "decimal mark"), r.mark(top["thousands mark"], "thousands mark")}
	if m := r.marks; m.decimal != "" && m.decimal == m.thousands {
		r.Fault(top["thousands mark"], "", "decimal mark and thousands mark are the same")
	}
	if r.marks.decimal != "" && r.marks.decimal == string(r.delimiter) && top["delimiter"] != nil {
		r.Fault(top["delimiter"], "cells with the mark must be in quotes in the file; leave delimiter out if they are", "the delimiter is the decimal mark")
	}
}

func (r *mappingReader) mark(n *yaml.Node, what string) string {
	if n == nil {
		return ""
	}
	m, ok := markWords[n.Value]
	if !ok || n.Kind != yaml.ScalarNode || what == "decimal mark" && m != "," && m != "." {
		r.Fault(n, "write comma or point; between thousands also blank or apostrophe", "%s is not one that numbers are written with", what)
	}
	return m
}

// dateForm reads how dates are written.
func (r *mappingReader) dateForm(top map[string]*yaml.Node) {
	if n := top["date order"]; n != nil {
		r.dates.order = 1 + dateOrder(r.Choice(n, "date order", orderNames[1:]...))
	}
	if n := top["century"]; n != nil {
		if r.dates.century = r.Whole(n, "century", 1900, 2100); r.dates.century%100 != 0 {
			r.Fault(n, "century: 2000 makes 31 the year 2031", "century is what is added to years of two digits")
		}
	}
	r.dates.zone = time.UTC
}

func (r *mappingReader) calendar(root *yaml.Node, top map[string]*yaml.Node) {
	r.dateForm(top)
	switch name, ok := r.Given(top["zone"], "zone"); {
	case top["zone"] == nil:
		r.Fault(root, "write zone: Europe/London, or zone: UTC", "the mapping does not say in which time zone dates and times are written")
	case ok:
		z, err := time.LoadLocation(name)
		if err != nil || name == "Local" {
			r.Fault(top["zone"], zone.Hint(name), "zone %q is not known", name)
			return
		}
		r.dates.zone = z
	}
	if n := top["time of day"]; n != nil {
		m := timeOnly.FindStringSubmatch(n.Value)
		if m == nil {
			r.Fault(n, `write time of day: "18:00"`, "time of day is what a date without a time counts as")
			return
		}
		at, w := readClock(n.Value, m[1:])
		if w.any() {
			r.Fault(n, "", "%s", w.text)
		}
		r.dates.at = at
	}
}

// wording reads how cells say that there is no number.
func (r *mappingReader) wording(top map[string]*yaml.Node) {
	for key, into := range map[string]*[]string{"below": &r.below, "above": &r.above, "not detected": &r.notDetected, "trace": &r.trace, "not measured": &r.notMeasured} {
		for _, w := range r.Texts(top[key], key) {
			*into = append(*into, strings.ToLower(oneBlank(w)))
		}
		// The longest first: "<=" is not "<" and something.
		slices.SortStableFunc(*into, func(a, b string) int { return len(b) - len(a) })
	}
}

// handMade reads the columns of what was measured by hand: no laboratory's, and of no
// component's fluid.
func (r *mappingReader) handMade(root, n *yaml.Node, top map[string]*yaml.Node) {
	r.byHand = true
	r.results = r.listed(byHandKey, n, anyKind)
	for _, key := range []string{"results", "result", "component", "number", "revision", "repeat", "laboratory", "age", "average age", "density"} {
		if top[key] != nil {
			r.Fault(source.Key(root, key), "make two mappings of it", "what is measured by hand has no %s", key)
		}
	}
}

// laboratory reads the results: a column for each analyte, or a row.
func (r *mappingReader) laboratory(root *yaml.Node, top map[string]*yaml.Node) {
	if n := top["results"]; n != nil {
		r.results = r.listed("results", n, anyKind)
	}
	if n := top["result"]; n != nil {
		m := r.Document.Mapping(n, "result", "analyte", "value", "unit", averaged)
		r.long = &longResult{}
		for key, into := range map[string]**value{"analyte": &r.long.analyte, "value": &r.long.result, "unit": &r.long.unit} {
			if m[key] == nil {
				r.Fault(n, "write result: {analyte: {column: Test}, value: {column: Result}, unit: {column: Unit}}", "result has no %s", key)
				continue
			}
			*into = r.value("result: "+key, m[key], nil)
		}
		r.average(r.long.result, "result", m[averaged])
	}
	if r.kind == event.SampleEvent && (r.results == nil) == (r.long == nil) {
		r.Fault(root, "a column for each analyte: results: {Cu: {column: Copper, unit: mg/kg}}; a row for each: result: {analyte: …, value: …, unit: …}",
			"the mapping must say where the results are, in one of two ways")
	}
}

// average reads which column the laboratory's average of a result is in.
func (r *mappingReader) average(of *value, key string, n *yaml.Node) {
	if n != nil && of != nil {
		of.average = r.value(key+": "+averaged, n, nil)
	}
}

// anyKind stands for a unit that is looked at with its analyte.
var anyKind = []unit.Kind{}

// listed reads values under names, in the order of the file.
func (r *mappingReader) listed(what string, n *yaml.Node, kinds []unit.Kind) []named {
	var out []named
	for _, p := range r.Entries(n, what) {
		if _, ok := analytes.Find(p.Key.Value); what == "results" && !ok {
			r.Fault(n, nearHint(p.Key.Value, analytes.Names()), "no rule knows an analyte %q", p.Key.Value)
			continue
		}
		v := r.value(what+": "+p.Key.Value, p.Value, kinds)
		if what == "results" && v.unit != "" {
			r.fits(p, v)
		}
		out = append(out, named{p.Key.Value, v})
	}
	return out
}

// fits asks that the analyte can be measured in the unit.
func (r *mappingReader) fits(p source.Pair, v *value) {
	a, _ := analytes.Find(p.Key.Value)
	k, ok := unit.Of(v.unit)
	if _, err := lab.Normalise(a.Name, 0, v.unit, 1); err != nil && ok && k != a.Kind { // 0 may be no value for it, in a unit that is right
		r.Fault(p.Value, "", "%s: %v", v.key, err)
	}
}

// value reads one entry: the name of a column, or a mapping with more to say.
// kinds is what its unit may measure; nil where it is no number.
func (r *mappingReader) value(key string, n *yaml.Node, kinds []unit.Kind) *value {
	v := &value{key: key}
	if n.Kind == yaml.ScalarNode {
		v.column = oneBlank(r.Text(n, key))
		if kinds != nil {
			r.Fault(n, fmt.Sprintf("write {column: %s, unit: …}", strconv.Quote(n.Value)), "%s is a number, and has no unit", key)
		}
		return v
	}
	keys := []string{"column", "column number", "always", "names", "leave out"}
	if kinds != nil {
		keys = []string{"column", "column number", "unit"}
	}
	switch {
	case strings.HasSuffix(key, ": "+averaged):
		keys = keys[:2]
	case strings.HasPrefix(key, "results: "):
		keys = append(keys, "limit", averaged)
	case key == "tasks" || key == "people" || key == "was":
		keys = append(keys, "between")
	}
	m := r.Document.Mapping(n, key, keys...)
	r.origin(n, m, v)
	v.always, v.split = r.Text(m["always"], "always"), r.Text(m["between"], "between")
	v.leaveOut = r.Texts(m["leave out"], "leave out")
	if names := m["names"]; names != nil {
		v.names = map[string]string{}
		for _, p := range r.Entries(names, "names") {
			v.names[oneBlank(p.Key.Value)] = r.Text(p.Value, "names")
		}
	}
	if kinds != nil {
		r.unit(n, m["unit"], v, kinds)
	}
	if l := m["limit"]; l != nil {
		x, err := strconv.ParseFloat(l.Value, 64)
		if err != nil || !(x > 0) || x > 1e9 {
			r.Fault(l, "", "limit is the limit of detection, a number above zero in the column's unit")
		}
		v.limit = &x
	}
	r.average(v, key, m[averaged])
	return v
}

// origin reads the column, in one of its ways.
func (r *mappingReader) origin(n *yaml.Node, m map[string]*yaml.Node, v *value) {
	v.column = oneBlank(r.Text(m["column"], "column"))
	if c := m["column number"]; c != nil {
		v.number = r.Whole(c, "column number", 1, maxColumns)
	}
	ways := 0
	for _, key := range []string{"column", "column number", "always"} {
		if m[key] != nil {
			ways++
		}
	}
	if ways != 1 {
		r.Fault(n, "", "%s needs one of column, column number and always", v.key)
	}
}

func (r *mappingReader) unit(n, u *yaml.Node, v *value, kinds []unit.Kind) {
	if u == nil {
		r.Fault(n, "write unit: …, one of "+strings.Join(unit.Names(kinds...), ", "), "%s has no unit", v.key)
		return
	}
	v.unit = r.Text(u, "unit")
	k, ok := unit.Of(v.unit)
	switch {
	case !ok:
		r.Fault(u, nearHint(v.unit, unit.Names(kinds...)), "unknown unit %q", v.unit)
	case len(kinds) > 0 && !slices.Contains(kinds, k):
		r.Fault(u, "write one of "+strings.Join(unit.Names(kinds...), ", "), "%q measures %s", v.unit, k)
	}
}

// identity reads which cells name a row.
func (r *mappingReader) identity(n *yaml.Node) {
	if n != nil && n.Kind == yaml.ScalarNode && n.Value == "row number" {
		r.idByRow = true
		return
	}
	for _, c := range r.Items(n, "id") {
		if c.Kind != yaml.ScalarNode {
			r.Fault(c, "write id: [Report no., Unit], or id: row number", "id names columns by their headings")
			continue
		}
		r.id = append(r.id, &value{key: "id", column: oneBlank(r.Text(c, "id"))})
	}
}

// nearHint asks after the nearest name.
func nearHint(name string, among []string) string {
	if near := source.Near(name, among); near != "" {
		return "did you mean `" + near + "`?"
	}
	if len(among) > 30 {
		return ""
	}
	return "known here: " + strings.Join(among, ", ")
}

// cure names the mapping and the line that would have worked.
func (m *Mapping) cure(line string) string {
	if line == "" {
		return ""
	}
	return "in " + m.name + ": " + line
}

// Imports is what a table is of: samples, readings, services or vehicles.
func (m *Mapping) Imports() string { return kindWords[slices.Index(kinds, m.kind)] }
