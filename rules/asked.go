package rules

import (
	"maps"
	"slices"
	"strings"

	"telltale/rules/expression"
)

// Asked is a field of the register that tasks and rules ask for, by the name that
// word.Field knows: component.kind, vehicle.tags.fuel.
type Asked struct {
	Field string
	Texts []string // that it is asked to be, sorted
	By    []string // the tasks and rules that ask, tasks first
}

const tagPrefix = "vehicle.tags."

// Tag is the tag's name where the field is a tag, else "".
func (a Asked) Tag() string {
	if tag, ok := strings.CutPrefix(a.Field, tagPrefix); ok {
		return tag
	}
	return ""
}

// Asked lists the fields that the book's tasks and rules ask the register for, in a
// where or in any other expression, by name.
func (b *Book) Asked() []Asked {
	all := map[string]*Asked{}
	see := func(by string, conditions ...*expression.Condition) {
		for _, c := range conditions {
			if c == nil {
				continue
			}
			for field, texts := range c.Named.Fields {
				if all[field] == nil {
					all[field] = &Asked{Field: field}
				}
				a := all[field]
				a.Texts, a.By = joined(a.Texts, texts), joined(a.By, []string{by})
			}
		}
	}
	for _, t := range b.Tasks {
		see(t.Name, t.Where, t.Shorten)
	}
	for _, r := range b.Rules {
		c := r.compiled
		see(r.Name, append(c.limits[:], r.Where, c.measure, c.raise, c.clear)...)
	}
	var out []Asked
	for _, field := range slices.Sorted(maps.Keys(all)) {
		slices.Sort(all[field].Texts)
		out = append(out, *all[field])
	}
	return out
}
