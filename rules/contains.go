package rules

import (
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// containsAt is a smaller task that a task names under `contains`, and where.
type containsAt struct {
	name string
	at   Place
	d    *document
}

// first reads the interval of a vehicle that began new.
func (d *document) first(t *Task, n *yaml.Node, what string) {
	if n == nil {
		return
	}
	t.First = d.limits(n, "first")
	d.within(n, "first", t.First, t.Every, "every")
	if t.History != HistoryInService {
		d.fault(n, "write `unknown history: from in-service date`: it counts from when the vehicle was new", "%s has a first interval and nothing that it counts from", what)
	}
}

// contains reads the smaller tasks that are done with this one.
func (d *document) contains(t *Task, n *yaml.Node, what string) {
	if n == nil {
		return
	}
	d.texts(n, "contains of "+what)
	list := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		list = n.Content
	}
	for _, e := range list {
		if e.Kind == yaml.ScalarNode {
			t.contains = append(t.contains, containsAt{e.Value, d.place(e), d})
		}
	}
}

// contained checks what tasks contain and tells each which ones it is part of.
func (l *loader) contained() {
	larger := map[string][]string{} // of a task, those that name it
	known := map[string]bool{}
	for _, t := range l.book.Tasks {
		known[t.Name] = true
	}
	for _, t := range l.book.Tasks {
		for _, c := range t.contains {
			if !known[c.name] {
				l.add(c.d.makeFault(c.at.Line, c.at.Col, len(c.name), "name a task of this book", fmt.Sprintf("task %q contains %q, which is no task", t.Name, c.name)))
				continue
			}
			larger[c.name] = append(larger[c.name], t.Name)
		}
		larger[t.Name] = append(larger[t.Name], t.Over...) // work written down by the other's name
	}
	for _, t := range l.book.Tasks {
		t.In = enclosing(larger, t.Name)
		if slices.Contains(t.In, t.Name) {
			l.circle(t)
		}
	}
}

// enclosing lists the tasks that contain one, directly or through others.
func enclosing(larger map[string][]string, name string) []string {
	var out []string
	for next := slices.Clone(larger[name]); len(next) > 0; next = next[1:] {
		if !slices.Contains(out, next[0]) {
			out = append(out, next[0])
			next = append(next, larger[next[0]]...)
		}
	}
	slices.Sort(out)
	return out
}

// circle complains of a task that is part of itself, where it names another of its
// circle.
func (l *loader) circle(t *Task) {
	for _, c := range t.contains {
		if c.name == t.Name || slices.Contains(t.In, c.name) {
			text := fmt.Sprintf("task %q contains itself, by way of %s", t.Name, strings.Join(t.In, ", "))
			l.add(c.d.makeFault(c.at.Line, c.at.Col, len(c.name), "the larger task contains the smaller, never the other way too", text))
			return
		}
	}
}
