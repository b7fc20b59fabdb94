// Package chosen makes a mapping of what somebody chose while looking at a table: what
// the file is of, how it is written, and what each column means.
//
// The mapping is text, which people keep and may go on with by hand. It is read as every
// other by [table.ReadMapping]; what is wrong with it comes back to the choice that it is of.
package chosen

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/engine/intake/table"
	"telltale/engine/intake/typed"
	"telltale/rules/source"
)

// Choices are what somebody chose. A text that is empty is left out of the mapping.
type Choices struct {
	Sort Sort
	table.Writing
	Source, Zone                           string
	DecimalMark, ThousandsMark             string // comma, point, blank, apostrophe
	DateOrder, Century, TimeOfDay          string
	Below, NotDetected, Trace, NotMeasured []string
	Columns                                []Column
	Always                                 []Always
}

// Column is one column of the file and what was chosen of it.
type Column struct {
	Heading string
	Means   string // a key of Sort.Meanings; "" for nothing
	Name    string // of a meter, an analyte or a measure
	Unit    string
	Limit   string // of detection, of an analyte
	Between string // what stands between several, in tasks
	// TellsApart: it is one of the columns that tell a row from the others.
	TellsApart bool
	// Names translate what the cells say; LeaveOut are cells of which the rows are left out.
	Names    []Translation
	LeaveOut []string
}

// Translation says what a cell stands for.
type Translation struct{ Cell, Name string }

// Always is what is the same in every row.
type Always struct{ Means, Text string }

// Fault is what is wrong with a choice.
type Fault struct {
	Column int    // from 1; 0 where it is of the file as a whole
	Of     string // the key of the mapping, or what of the column: "means", "name", "unit", "limit", "names"
	Text   string // without a full stop
	Hint   string // the cure; may be empty
}

// place is what a line of the mapping is made of.
type place struct {
	column int
	of     string
}

// Mapping is what was chosen, as a mapping under that name, and its text. With faults
// there is no mapping; the text says what was chosen as far as that can be said.
func (c *Choices) Mapping(name string) (m *table.Mapping, text []byte, faults []Fault) {
	w := &writer{Choices: c}
	root := w.root()
	var out bytes.Buffer
	enc := yaml.NewEncoder(&out)
	enc.SetIndent(2)
	if err := enc.Encode(root); err != nil {
		return nil, nil, []Fault{{Text: err.Error()}}
	}
	if w.faults != nil {
		return nil, out.Bytes(), w.faults
	}
	m, err := table.ReadMapping(name, out.Bytes())
	if err == nil {
		return m, out.Bytes(), nil
	}
	return nil, out.Bytes(), w.placed(out.Bytes(), root, err)
}

// placed takes the faults of the mapping's lines back to what was chosen.
func (w *writer) placed(text []byte, made *yaml.Node, err error) (out []Fault) {
	faults, ok := errors.AsType[source.Faults](err)
	if !ok {
		return []Fault{{Text: err.Error()}}
	}
	var at []spot
	var read yaml.Node
	if yaml.Unmarshal(text, &read) == nil {
		w.spots(made, read.Content[0], &at)
	}
	for _, f := range faults {
		var p place
		for _, s := range at {
			if s.line == f.Line && s.col <= f.Col {
				p = s.place
			}
		}
		out = append(out, Fault{Column: p.column, Of: p.of, Text: f.Text, Hint: f.Hint})
	}
	return out
}

// spot is where in the text a choice came to stand.
type spot struct {
	line, col int
	place
}

// spots notes where each choice came to stand, in the order of the text: the text read
// again has the places, what was written the choices.
func (w *writer) spots(made, read *yaml.Node, at *[]spot) {
	for i, n := range made.Content {
		r := read.Content[i]
		if p, ok := w.of[n]; ok {
			*at = append(*at, spot{r.Line, r.Column, p})
		}
		w.spots(n, r, at)
	}
}

// writer writes choices as a mapping.
type writer struct {
	*Choices
	of     map[*yaml.Node]place // of keys
	faults []Fault
}

func (w *writer) fault(column int, of, hint, format string, args ...any) {
	w.faults = append(w.faults, Fault{column, of, fmt.Sprintf(format, args...), hint})
}

// put adds an entry.
func (w *writer) put(m *yaml.Node, p place, key string, value *yaml.Node) {
	k := text(key)
	if w.of == nil {
		w.of = map[*yaml.Node]place{}
	}
	w.of[k] = p
	m.Content = append(m.Content, k, value)
}

// say adds a text of the file as a whole, unless it is empty.
func (w *writer) say(m *yaml.Node, key, s string) {
	if s = typed.OneBlank(s); s != "" {
		w.put(m, place{of: key}, key, text(s))
	}
}

func text(s string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: s} }

// plain is a text that YAML may read as a number.
func plain(s string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Value: s} }

func flow(kind yaml.Kind, content ...*yaml.Node) *yaml.Node {
	return &yaml.Node{Kind: kind, Style: yaml.FlowStyle, Content: content}
}

// root is the whole mapping.
func (w *writer) root() *yaml.Node {
	m := &yaml.Node{Kind: yaml.MappingNode}
	w.put(m, place{}, "import", text(imports[kinds[w.Sort]]))
	w.say(m, "source", w.Source)
	w.say(m, "zone", w.Zone)
	w.written(m)
	for _, key := range []string{"below", "not detected", "trace", "not measured"} {
		words := map[string][]string{"below": w.Below, "not detected": w.NotDetected, "trace": w.Trace, "not measured": w.NotMeasured}[key]
		if len(words) > 0 && (key == "not measured" || kinds[w.Sort] == kinds[Samples]) {
			w.put(m, place{of: key}, key, texts(words))
		}
	}
	w.columns(m)
	w.lacking()
	return m
}

// written says how the file is written, where that is not as a mapping takes it to be.
func (w *writer) written(m *yaml.Node) {
	if w.Encoding != "utf-8" {
		w.say(m, "encoding", w.Encoding)
	}
	if w.Delimiter != "comma" {
		w.say(m, "delimiter", w.Delimiter)
	}
	if w.Heading > 1 {
		w.put(m, place{of: "heading"}, "heading", plain(fmt.Sprint(w.Heading)))
	}
	w.say(m, "decimal mark", w.DecimalMark)
	w.say(m, "thousands mark", w.ThousandsMark)
	w.say(m, "date order", w.DateOrder)
	if w.Century != "" {
		w.put(m, place{of: "century"}, "century", plain(w.Century))
	}
	w.say(m, "time of day", w.TimeOfDay)
}

func texts(words []string) *yaml.Node {
	list := flow(yaml.SequenceNode)
	for _, s := range words {
		list.Content = append(list.Content, text(s))
	}
	return list
}

// lacking says which columns nobody named that every such table needs.
func (w *writer) lacking() {
	for _, key := range w.Sort.needed() {
		if !w.said(key) {
			w.fault(0, key, "", "choose the column of the %s", strings.TrimPrefix(key, "result: "))
		}
	}
}

// said reports whether a column, or all rows, have that meaning.
func (w *writer) said(key string) bool {
	return slices.ContainsFunc(w.Columns, func(c Column) bool { return c.Means == key }) ||
		slices.ContainsFunc(w.Always, func(a Always) bool { return a.Means == key && typed.OneBlank(a.Text) != "" })
}

// double reports whether the heading is that of another column too, or of none.
func (w *writer) double(heading string) bool {
	n := 0
	for _, c := range w.Columns {
		if typed.OneBlank(c.Heading) == typed.OneBlank(heading) {
			n++
		}
	}
	return n > 1 || typed.OneBlank(heading) == ""
}

// writable reports whether a file can hold the text: it cannot hold what nobody sees.
func writable(s string) bool {
	out, err := yaml.Marshal(map[string]string{"column": typed.OneBlank(s)})
	if err != nil {
		return false
	}
	d, root := source.Read("", out)
	if root != nil {
		d.Text(d.Mapping(root, "", "column")["column"], "column")
	}
	return d.Err() == nil
}

// from is where a column is found: by its heading or, where that says nothing, its number.
func (w *writer) from(i int) *yaml.Node {
	c := w.Columns[i]
	m := flow(yaml.MappingNode)
	if w.double(c.Heading) || !writable(c.Heading) {
		w.put(m, place{i + 1, "means"}, "column number", plain(fmt.Sprint(i+1)))
		return m
	}
	w.put(m, place{i + 1, "means"}, "column", text(typed.OneBlank(c.Heading)))
	return m
}

// name is that of a meter, an analyte or a measure.
func (c *Column) name() string { return typed.OneBlank(c.Name) }

// unit adds the unit of a number.
func (w *writer) unit(i int, of *yaml.Node) {
	u := typed.OneBlank(w.Columns[i].Unit)
	if u == "" {
		w.fault(i+1, "unit", "", "a number has a unit: choose it")
		return
	}
	w.put(of, place{i + 1, "unit"}, "unit", text(u))
}
