package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
)

// Two baselines that match one component give two answers to one question. Which
// of them is the more specific is never guessed: one says `over: other`, or both
// are refused, with a vehicle that both match.

// exampleWork bounds the vehicles that are tried for all pairs of a book, so that
// a book of very many baselines is still checked in linear time.
const exampleWork = 200_000

// overs reads which baselines each one goes before, puts all of them in order,
// those that go before others first, and refuses pairs that can both match.
func (l *loader) overs() {
	byName := map[string]*Baseline{}
	for _, b := range l.book.Baselines {
		byName[b.Name] = b
	}
	slices.SortFunc(l.book.Baselines, func(a, b *Baseline) int { return strings.Compare(a.Name, b.Name) })
	names := slices.Sorted(maps.Keys(byName))
	for _, b := range l.book.Baselines {
		l.over(b, byName, names)
	}
	if len(l.faults) > 0 {
		return // a condition or a name is missing
	}
	ordered, ok := l.inOrder(byName)
	if !ok {
		return
	}
	l.book.Baselines = ordered
	l.bothMatch(byName)
}

// over checks the names after `over`.
func (l *loader) over(b *Baseline, byName map[string]*Baseline, names []string) {
	for i, name := range b.Over {
		at := b.over.items[i]
		switch {
		case name == b.Name:
			b.over.d.fault(at, "", "baseline %q goes before itself", name)
		case byName[name] == nil:
			b.over.d.fault(at, l.didYouMean(name, names, "name another baseline of the book"), "there is no baseline %q", name)
		}
	}
}

// inOrder puts each baseline before those that it goes over; ok is false where
// they go in a circle.
func (l *loader) inOrder(byName map[string]*Baseline) (out []*Baseline, ok bool) {
	const open, closed = 1, 2
	mark := map[string]int{}
	ok = true
	var visit func(b *Baseline)
	visit = func(b *Baseline) {
		mark[b.Name] = open
		for i, name := range b.Over {
			switch mark[name] {
			case open:
				b.over.d.fault(b.over.items[i], "leave one of them out", "baseline %q goes before %q, which goes before it", b.Name, name)
				ok = false
			case 0:
				visit(byName[name])
			}
		}
		mark[b.Name] = closed
		out = append(out, b)
	}
	for _, b := range slices.Backward(l.book.Baselines) {
		if mark[b.Name] == 0 {
			visit(b)
		}
	}
	slices.Reverse(out)
	return out, ok
}

// bothMatch refuses pairs of baselines of which neither goes before the other,
// where a vehicle is found that both match.
func (l *loader) bothMatch(byName map[string]*Baseline) {
	list := l.book.Baselines
	x := examples{j: NewJudge(l.book), left: exampleWork, byName: byName}
	named := make([]comparands, len(list))
	for i, b := range list {
		named[i] = l.comparands(b.Where)
	}
	for i, a := range list {
		for k, b := range list[i+1:] {
			if x.left <= 0 {
				return
			}
			if x.goesBefore(a, b.Name) {
				continue
			}
			if v, c, found := x.find(a.Where, b.Where, named[i], named[i+1+k]); found {
				first, second := a, b
				if comparePlaces(a.At, b.At) > 0 {
					first, second = b, a
				}
				second.over.d.fault(second.over.key, fmt.Sprintf("narrow a `where`, or write `over: %s` in the one that goes first", first.Name),
					"baselines %q (%s) and %q both match %s", first.Name, first.At, second.Name, exampleText(v, c))
			}
		}
	}
}

// examples looks for vehicles that two conditions both match, among those whose
// fields have the values that the conditions compare them with.
type examples struct {
	j      *Judge
	byName map[string]*Baseline
	left   int // of the work
}

func (x *examples) goesBefore(a *Baseline, name string) bool {
	x.left--
	return x.left > 0 && slices.ContainsFunc(a.Over, func(o string) bool { return o == name || x.goesBefore(x.byName[o], name) })
}

// find tries every combination of the values that either condition names, and one
// that neither names, for each field that they read.
func (x *examples) find(a, b *Condition, inA, inB comparands) (Vehicle, Component, bool) {
	both := comparands{fields: map[string][]string{}, numbers: []float64{0}}
	for _, c := range []comparands{inA, inB} {
		for f, values := range c.fields {
			both.add(f, values)
		}
		both.numbers = append(both.numbers, c.numbers...)
	}
	v := Vehicle{Name: "any", Kind: "any", Tags: map[string]string{}}
	comp := Component{Name: "any", Kind: "any", Fluid: "any"}
	return x.each(slices.Sorted(maps.Keys(both.fields)), both.fields, both.numbers, v, comp, func(v *Vehicle, c *Component) bool {
		x.left--
		one, err1 := x.j.Matches(a, v, c)
		two, err2 := x.j.Matches(b, v, c)
		return one && two && err1 == nil && err2 == nil
	})
}

// each gives the combinations of values, until one is right or the work is done.
func (x *examples) each(fields []string, values map[string][]string, numbers []float64, v Vehicle, c Component, right func(*Vehicle, *Component) bool) (Vehicle, Component, bool) {
	if len(fields) == 0 {
		for _, n := range numbers {
			if c.Capacity = n; x.left > 0 && right(&v, &c) {
				return v, c, true
			}
		}
		return v, c, false
	}
	for _, value := range append([]string{"any"}, values[fields[0]]...) {
		setField(&v, &c, fields[0], value)
		if x.left <= 0 {
			break
		}
		if v, c, ok := x.each(fields[1:], values, numbers, v, c, right); ok {
			return v, c, true
		}
	}
	return v, c, false
}

func setField(v *Vehicle, c *Component, field, value string) {
	switch field {
	case "vehicle.name":
		v.Name = value
	case "vehicle.kind":
		v.Kind = value
	case "component.name":
		c.Name = value
	case "component.kind":
		c.Kind = value
	case "component.fluid":
		c.Fluid = value
	default:
		v.Tags = maps.Clone(v.Tags)
		v.Tags[strings.TrimPrefix(field, "vehicle.tags.")] = value
	}
}

func exampleText(v Vehicle, c Component) string {
	var parts []string
	add := func(format, value string) {
		if value != "any" && value != "" {
			parts = append(parts, fmt.Sprintf(format, value))
		}
	}
	add("called %q", v.Name)
	add("of kind %q", v.Kind)
	for _, name := range slices.Sorted(maps.Keys(v.Tags)) {
		add("tagged "+name+" %q", v.Tags[name])
	}
	vehicle := strings.Join(append([]string{"a vehicle"}, parts...), " ")
	parts = nil
	add("called %q", c.Name)
	add("of kind %q", c.Kind)
	add("filled with %q", c.Fluid)
	if c.Capacity > 0 {
		add("that holds %s", Format(c.Capacity))
	}
	return vehicle + " with " + strings.Join(append([]string{"a component"}, parts...), " ")
}

// comparands are the texts and numbers with which an expression compares fields.
type comparands struct {
	fields  map[string][]string
	numbers []float64
}

func (l *loader) comparands(c *Condition) comparands {
	s := comparands{fields: map[string][]string{}}
	if c == nil {
		return s
	}
	if n, err := parse(l.parser, c.Text); err == nil {
		ast.Walk(&n, &s)
	}
	return s
}

// Visit looks at each operator: what is read on either side may have any value that
// is named on either side.
func (s *comparands) Visit(n *ast.Node) {
	b, ok := (*n).(*ast.BinaryNode)
	if !ok || slices.Contains([]string{"&&", "||", "and", "or"}, b.Operator) {
		if f, ok := fieldOf(*n); ok {
			s.add(f, nil) // read outside a comparison too
		}
		return
	}
	var in operands
	ast.Walk(n, &in)
	for _, f := range in.fields {
		s.add(f, in.texts)
	}
	for _, v := range in.numbers {
		s.numbers = append(s.numbers, v-1, v, v+1)
	}
}

func (s *comparands) add(field string, texts []string) {
	list := s.fields[field]
	for _, t := range texts {
		if !slices.Contains(list, t) {
			list = append(slices.Clip(list), t)
		}
	}
	s.fields[field] = list
}

// operands are the fields, texts and numbers within one comparison.
type operands struct {
	fields, texts []string
	numbers       []float64
}

// Visit is called with what is inside before what is around it, so the names of
// fields are taken out again.
func (o *operands) Visit(n *ast.Node) {
	switch t := (*n).(type) {
	case *ast.StringNode:
		o.texts = append(o.texts, t.Value)
	case *ast.IntegerNode:
		o.numbers = append(o.numbers, float64(t.Value))
	case *ast.FloatNode:
		o.numbers = append(o.numbers, t.Value)
	case *ast.MemberNode:
		if key, ok := t.Property.(*ast.StringNode); ok {
			if i := slices.Index(o.texts, key.Value); i >= 0 {
				o.texts = slices.Delete(o.texts, i, i+1)
			}
		}
		if f, ok := fieldOf(t); ok {
			o.fields = append(o.fields, f)
		}
	}
}

// fieldOf is the name of a text field that the node reads, such as
// vehicle.tags.depot; ok is false for another node, and for the capacity.
func fieldOf(n ast.Node) (string, bool) {
	m, ok := n.(*ast.MemberNode)
	if !ok {
		return "", false
	}
	key, ok := m.Property.(*ast.StringNode)
	if !ok {
		return "", false
	}
	switch of := m.Node.(type) {
	case *ast.IdentifierNode:
		name := of.Value + "." + key.Value
		return name, name != "vehicle.tags" && name != "component.capacity"
	case *ast.MemberNode:
		return "vehicle.tags." + key.Value, true
	}
	return "", false
}
