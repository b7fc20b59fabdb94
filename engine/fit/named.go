package fit

import (
	"fmt"
	"slices"

	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/word"
)

// named asks about meters and components that tasks and rules name, and that none of the
// vehicles to which they apply has: such a task is never due, and such a rule never judged.
func (r *reader) named() {
	for _, t := range r.book.Tasks {
		if t.Meter != "" {
			r.missing(&t.Part, "task", "counts by the meter", t.Meter, meters)
		}
	}
	for _, a := range r.book.Rules {
		var asked []string
		for _, w := range []word.Word{word.Meter, word.MeterDistance, word.HoursPerDay} {
			asked = append(asked, a.Asks(w)...)
		}
		slices.Sort(asked)
		for _, name := range slices.Compact(asked) {
			r.missing(&a.Part, "rule", "asks the meter", name, meters)
		}
		for _, name := range a.Elsewhere() {
			r.missing(&a.Part, "rule", "asks of the component", name, components)
		}
	}
}

// meters are the names of a vehicle's meters.
func meters(v *vehicle) (out []string) {
	for _, m := range v.reg.Meters {
		out = append(out, m.Name)
	}
	return out
}

// components are the names of a vehicle's components, and their kinds by all their names.
func components(v *vehicle) (out []string) {
	for i := range v.comps {
		out = append(append(out, v.comps[i].Name), word.Names(v.comps[i].Kind)...)
	}
	return out
}

// missing asks about a name that none of the vehicles has to which the part applies.
func (r *reader) missing(p *rules.Part, kind, asks, name string, of func(*vehicle) []string) {
	var have []string
	for i := range r.vehicles {
		if v := &r.vehicles[i]; r.has(v, p) {
			have = append(have, of(v)...)
		}
	}
	slices.Sort(have)
	have = slices.Compact(have)
	if len(have) == 0 || slices.Contains(have, name) {
		return
	}
	hint := "they have " + english.List("and", have)
	if near := source.Near(name, have); near != "" {
		hint = fmt.Sprintf("did you mean `%s`?", near)
	}
	text := fmt.Sprintf("%s %q %s %q, which no vehicle has that it applies to", kind, p.Name, asks, name)
	r.found = append(r.found, source.Fault{Place: p.At, Text: text, Hint: hint, Width: 1})
}

// has reports whether the part applies to the vehicle, or to one of its components.
func (r *reader) has(v *vehicle, p *rules.Part) bool {
	if !p.PerComponent {
		ok, _ := r.judge.Matches(p.Where, &v.of, nil)
		return ok
	}
	return slices.ContainsFunc(v.comps, func(c word.Component) bool {
		ok, _ := r.judge.Matches(p.Where, &v.of, &c)
		return ok
	})
}
