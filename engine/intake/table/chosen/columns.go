package chosen

import (
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/engine/intake/typed"
)

// several are the meanings of which each has a name, by the key of the mapping that they
// stand under.
var several = map[string]string{Meter: "meters", Analyte: "results", Measure: "measures"}

// columns writes what the columns mean, in the order of the meanings.
func (w *writer) columns(m *yaml.Node) {
	result := flow(yaml.MappingNode)
	for _, mean := range w.Sort.Meanings() {
		switch {
		case mean.Key == Average:
			w.averages()
		case mean.Named:
			w.listed(m, mean)
		case strings.HasPrefix(mean.Key, "result: "):
			w.one(result, mean, strings.TrimPrefix(mean.Key, "result: "))
		default:
			w.one(m, mean, mean.Key)
		}
	}
	if len(result.Content) > 0 {
		w.put(m, place{of: "result"}, "result", result)
	}
	w.identity(m)
	w.strangers()
}

// strangers are columns that were said to mean what no such table has.
func (w *writer) strangers() {
	for i, c := range w.Columns {
		if _, ok := w.Sort.meaning(c.Means); !ok && c.Means != "" {
			w.fault(i+1, "means", "", "a table of %s has no %s", w.Sort, c.Means)
		}
	}
}

// one writes what a single column, or every row, says.
func (w *writer) one(m *yaml.Node, mean Meaning, key string) {
	found := 0
	for i, c := range w.Columns {
		if c.Means != mean.Key {
			continue
		}
		if found++; found > 1 {
			w.fault(i+1, "means", "", "another column is the %s already", key)
			continue
		}
		v := w.from(i)
		if mean.Number {
			w.unit(i, v)
		} else if mean.Key != ResultAverage {
			w.translated(i, v)
		}
		if b := strings.TrimSpace(c.Between); b != "" && key == "tasks" {
			w.put(v, place{i + 1, "between"}, "between", text(b))
		}
		w.put(m, place{i + 1, "means"}, key, v)
	}
	for _, a := range w.Always {
		s := typed.OneBlank(a.Text)
		if a.Means != mean.Key || s == "" {
			continue
		}
		if found++; found > 1 {
			w.fault(0, "always", "", "the %s is in a column, or said twice", key)
			continue
		}
		v := flow(yaml.MappingNode)
		w.put(v, place{of: "always"}, "always", text(s))
		w.put(m, place{of: "always"}, key, v)
	}
}

// translated adds what the cells stand for, and which rows are left out.
func (w *writer) translated(i int, v *yaml.Node) {
	c, names := &w.Columns[i], flow(yaml.MappingNode)
	seen := map[string]bool{}
	for _, t := range c.Names {
		cell, name := typed.OneBlank(t.Cell), typed.OneBlank(t.Name)
		switch {
		case cell == "" || name == "":
			w.fault(i+1, "names", "write on each line what the cell says, = and what is meant: B7 = bus-07", "%q says nothing or means nothing", t.Cell+" = "+t.Name)
		case seen[cell]:
			w.fault(i+1, "names", "", "%q is there twice", cell)
		default:
			seen[cell] = true
			w.put(names, place{i + 1, "names"}, cell, text(name))
		}
	}
	if len(names.Content) > 0 {
		w.put(v, place{i + 1, "names"}, "names", names)
	}
	if len(c.LeaveOut) > 0 {
		w.put(v, place{i + 1, "out"}, "leave out", texts(c.LeaveOut))
	}
}

// listed writes the columns that have a name each: meters, analytes, measures.
func (w *writer) listed(m *yaml.Node, mean Meaning) {
	list := &yaml.Node{Kind: yaml.MappingNode}
	seen := map[string]bool{}
	for i := range w.Columns {
		c := &w.Columns[i]
		if c.Means != mean.Key {
			continue
		}
		name := c.name()
		switch {
		case name == "":
			w.fault(i+1, "name", "", "choose which %s it is", mean.Key)
			continue
		case seen[name]:
			w.fault(i+1, "name", "", "another column is %s already", name)
			continue
		}
		seen[name] = true
		v := w.from(i)
		w.unit(i, v)
		if l := typed.OneBlank(c.Limit); l != "" && mean.Key == Analyte {
			w.put(v, place{i + 1, "limit"}, "limit", plain(l))
		}
		if mean.Key == Analyte {
			w.averageOf(name, v)
		}
		w.put(list, place{i + 1, "name"}, name, v)
	}
	if len(list.Content) > 0 {
		w.put(m, place{of: mean.Key}, several[mean.Key], list)
	}
}

// averageOf adds the column of the laboratory's average to its analyte.
func (w *writer) averageOf(analyte string, v *yaml.Node) {
	found := 0
	for i := range w.Columns {
		if c := &w.Columns[i]; c.Means == Average && c.name() == analyte {
			if found++; found > 1 {
				w.fault(i+1, "name", "", "another column is the average of %s already", analyte)
				continue
			}
			w.put(v, place{i + 1, "name"}, "average", w.from(i))
		}
	}
}

// averages says which averages are of an analyte that no column is.
func (w *writer) averages() {
	for i := range w.Columns {
		c := &w.Columns[i]
		if c.Means != Average {
			continue
		}
		of := false
		for j := range w.Columns {
			of = of || w.Columns[j].Means == Analyte && w.Columns[j].name() == c.name()
		}
		if c.name() == "" || !of {
			w.fault(i+1, "name", "", "choose the analyte that it is the average of, and its column")
		}
	}
}

// identity writes which columns tell one row from another. They go by their headings alone.
func (w *writer) identity(m *yaml.Node) {
	list := flow(yaml.SequenceNode)
	for i, c := range w.Columns {
		if !c.TellsApart {
			continue
		}
		if w.double(c.Heading) || !writable(c.Heading) {
			w.fault(i+1, "id", "give the columns of the file headings that differ", "a column that tells rows apart needs a heading of its own")
			continue
		}
		list.Content = append(list.Content, text(typed.OneBlank(c.Heading)))
	}
	if len(list.Content) > 0 {
		w.put(m, place{of: "id"}, "id", list)
	}
}
