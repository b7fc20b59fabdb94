package language

import (
	"context"
	"maps"
	"regexp"
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/word"
)

// complete lists what may stand at a place.
func (s *server) complete(_ context.Context, p *at) ([]completion, error) {
	d, c := s.at(p.Document)
	in := placeAt(d.text, p.Position)
	f := formOf(pathOf(p.Document.URI))
	if in.key == "" {
		return keysOf(f.at(in.keys), c, in), nil
	}
	here := f.at(append(slices.Clone(in.keys), in.key))
	if expr, ok := in.expression(here); ok {
		return c.expression(expr), nil
	}
	return valuesOf(here, c, in), nil
}

// expression is what stands before the cursor of an expression, if it stands in one.
func (p place) expression(here []form) (string, bool) {
	if slices.ContainsFunc(here, form.expression) {
		return p.before, true
	}
	open := strings.LastIndex(p.before, "${")
	if open >= 0 && strings.LastIndex(p.before, "}") < open && slices.ContainsFunc(append(p.keys, p.key), template) {
		return p.before[open+2:], true
	}
	return "", false
}

// keysOf are the keys that may stand in a mapping.
func keysOf(here []form, c Checked, p place) []completion {
	out := []completion{}
	for _, f := range here {
		for _, key := range f.keys() {
			item := completion{Label: key, Kind: kindProperty, InsertText: key + ": "}
			for _, under := range f.under(key) {
				if says := under.says(); says != "" && item.Detail == "" {
					item.Detail, _, _ = strings.Cut(says, "\n")
				}
			}
			if !slices.ContainsFunc(out, func(o completion) bool { return o.Label == key }) {
				out = append(out, item)
			}
		}
	}
	if n := len(p.keys); n > 0 && p.keys[n-1] == "pull in" {
		out = append(out, references(c.tasks())...)
	}
	return out
}

// valuesOf are the values that may stand at a key.
func valuesOf(here []form, c Checked, p place) []completion {
	out := []completion{}
	for _, f := range here {
		for _, v := range f.values() {
			if !slices.ContainsFunc(out, func(o completion) bool { return o.Label == v }) {
				out = append(out, completion{Label: v, Kind: kindValue})
			}
		}
	}
	switch key := p.listed(); key {
	case "over", "was", "of", "rule":
		out = append(out, references(slices.Concat(c.tasks(), c.rules()))...)
	case "contains":
		out = append(out, references(c.tasks())...)
	case "cautions":
		out = append(out, references(c.cautions())...)
	}
	return out
}

// listed is the key of a value, or of the list that it stands in.
func (p place) listed() string {
	if p.key == "" && len(p.keys) > 0 {
		return p.keys[len(p.keys)-1]
	}
	return p.key
}

// The forms of what stands before the cursor in an expression.
var (
	argumentForm = regexp.MustCompile(`(\w+)\(\s*"([^"]*)$`)
	comparedForm = regexp.MustCompile(`((?:vehicle|component)\.[\w.\["\]]+)\s*(?:==|!=|in\s*\[[^\]]*)\s*"[^"]*$`)
	tagForm      = regexp.MustCompile(`vehicle\.tags(\.\w*|\["[^"]*)$`)
	fieldForm    = regexp.MustCompile(`\b(vehicle|component)\.\w*$`)
)

// expression lists what may stand at the end of an expression that is being typed.
func (c Checked) expression(text string) []completion {
	if m := tagForm.FindStringSubmatch(text); m != nil {
		return named(kindField, c.tags())
	}
	if m := comparedForm.FindStringSubmatch(text); m != nil {
		return named(kindValue, c.values(m[1]))
	}
	if m := argumentForm.FindStringSubmatch(text); m != nil {
		return c.arguments(m[1])
	}
	if strings.Count(text, `"`)%2 == 1 {
		return []completion{}
	}
	if m := fieldForm.FindStringSubmatch(text); m != nil {
		return named(kindField, map[string][]string{"vehicle": {"key", "kind", "name", "tags"}, "component": {"capacity", "fluid", "kind", "name"}}[m[1]])
	}
	return callables()
}

// callables are the words, the functions and the two things that have fields.
func callables() []completion {
	var out []completion
	for _, w := range word.All() {
		call := w.Name + "()"
		if w.Of != word.Nothing {
			call = w.Name + "("
		}
		out = append(out, completion{Label: w.Name, Kind: kindFunction, Detail: w.Signature, InsertText: call, Documentation: ofWord(&w)})
	}
	for _, f := range word.Functions {
		out = append(out, completion{Label: f.Name, Kind: kindFunction, Detail: f.Signature, InsertText: f.Name + "(", Documentation: &markup{"markdown", f.Meaning}})
	}
	return append(out, named(kindKeyword, []string{"vehicle", "component"})...)
}

// arguments are what a word may be asked of.
func (c Checked) arguments(name string) []completion {
	w := word.Called(name)
	switch {
	case w == nil:
		return []completion{}
	case w.Of == word.Task:
		return references(c.tasks())
	case w.Of != word.Analyte && w.Of != word.Target:
		return []completion{}
	}
	var out []completion
	for _, a := range analytes.Names() {
		out = append(out, completion{Label: a, Kind: kindValue, Detail: analytes.Named(a)})
	}
	return out
}

func named(kind int, names []string) []completion {
	out := []completion{}
	for _, n := range names {
		out = append(out, completion{Label: n, Kind: kind})
	}
	return out
}

func references(names []string) []completion { return named(kindReference, names) }

func (c Checked) tasks() []string {
	var out []string
	if c.Book != nil {
		for _, t := range c.Book.Tasks {
			out = append(out, t.Name)
		}
	}
	return out
}

func (c Checked) rules() []string {
	var out []string
	if c.Book != nil {
		for _, r := range c.Book.Rules {
			out = append(out, r.Name)
		}
	}
	return out
}

// registered visits the register's vehicles with each of their components, or none.
func (c Checked) registered(visit func(*word.Vehicle, *word.Component)) {
	for _, ev := range c.Register {
		d, ok := ev.Data.(*event.VehicleData)
		if !ok {
			continue
		}
		v := &word.Vehicle{Key: ev.Vehicle, Name: d.Name, Kind: d.Kind, Tags: d.Tags}
		visit(v, &word.Component{})
		for _, comp := range d.Components {
			visit(v, &word.Component{Name: comp.Name, Kind: comp.Kind, Fluid: comp.Fluid})
		}
	}
}

// tags are the tags of the register, sorted.
func (c Checked) tags() []string {
	all := map[string]bool{}
	c.registered(func(v *word.Vehicle, _ *word.Component) {
		for tag := range v.Tags {
			all[tag] = true
		}
	})
	return slices.Sorted(maps.Keys(all))
}

// values are what the register has in a field, sorted.
func (c Checked) values(field string) []string {
	field = strings.NewReplacer(`["`, ".", `"]`, "").Replace(field)
	read := word.Field(field)
	if read == nil {
		return nil
	}
	all := map[string]bool{}
	c.registered(func(v *word.Vehicle, comp *word.Component) { all[read(v, comp)] = true })
	delete(all, "")
	return slices.Sorted(maps.Keys(all))
}

// cautions are the names of those that the program knows and those that the book explains.
func (c Checked) cautions() []string {
	out := rules.CautionNames()
	if c.Book != nil {
		out = append(out, slices.Sorted(maps.Keys(c.Book.OwnCautions))...)
	}
	return out
}
