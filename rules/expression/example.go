package expression

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Example is a vehicle and its component, as far as a condition reads of them.
type Example struct {
	word.Vehicle
	Component word.Component
	units     unit.System // of the conditions
}

// String describes the example: `a vehicle of kind "bus" with a component`.
func (e Example) String() string {
	parts := []string{"a vehicle"}
	add := func(format, value string) {
		if value != "any" && value != "" {
			parts = append(parts, fmt.Sprintf(format, value))
		}
	}
	add("of the key %q", e.Key)
	add("called %q", e.Name)
	add("of kind %q", e.Kind)
	for _, name := range slices.Sorted(maps.Keys(e.Tags)) {
		add("tagged "+name+" %q", e.Tags[name])
	}
	parts = append(parts, "with a component")
	add("called %q", e.Component.Name)
	add("of kind %q", e.Component.Kind)
	add("filled with %q", e.Component.Fluid)
	if e.Component.Capacity > 0 {
		add("that holds %s", english.Reader{Units: e.units}.Amount(e.Component.Capacity, unit.Volume))
	}
	return strings.Join(parts, " ")
}

// Search looks for vehicles that two conditions both match, among those whose fields
// have the values that the conditions compare them with. A nil condition matches all.
type Search struct {
	run  Runner
	left int // of the work
}

// searchWork bounds the vehicles that one search tries, so that a book of very many
// baselines is still checked in linear time.
const searchWork = 200_000

// NewSearch returns a Search that has done nothing yet.
func NewSearch() *Search { return &Search{left: searchWork} }

// Next counts a pair of conditions that may be tried; it is false once the search has
// done all the work that it may do.
func (s *Search) Next() bool {
	s.left--
	return s.left >= 0
}

// Both tries every combination of the values that either condition names, and one that
// neither names, for each field that they read.
func (s *Search) Both(a, b *Condition) (Example, bool) {
	both := comparands{fields: map[string][]string{}, numbers: []float64{0}}
	for _, c := range []*Condition{a, b} {
		if c == nil {
			continue
		}
		for f, values := range c.compares.fields {
			both.add(f, values)
		}
		both.numbers = append(both.numbers, c.compares.numbers...)
		both.units = both.units.Or(c.compares.units)
	}
	any := Example{word.Vehicle{Key: "any", Name: "any", Kind: "any", Tags: map[string]string{}}, word.Component{Name: "any", Kind: "any", Fluid: "any"}, both.units}
	return s.each(slices.Sorted(maps.Keys(both.fields)), both, any, func(e *Example) bool {
		s.left--
		one, _ := s.run.Matches(a, &e.Vehicle, &e.Component)
		two, _ := s.run.Matches(b, &e.Vehicle, &e.Component)
		return one && two
	})
}

// Apart reports whether no vehicle with its component can match both conditions.
// That is only said of conditions of which trying the values they name is proof.
func (s *Search) Apart(a, b *Condition) bool {
	if a != nil && !a.compares.plain || b != nil && !b.compares.plain {
		return false
	}
	_, found := s.Both(a, b)
	return !found && s.left > 0
}

// each gives the combinations of values, until one is right or the work is done.
func (s *Search) each(fields []string, of comparands, e Example, right func(*Example) bool) (Example, bool) {
	if len(fields) == 0 {
		for _, n := range of.numbers {
			if e.Component.Capacity = n; s.left > 0 && right(&e) {
				return e, true
			}
		}
		return e, false
	}
	for _, value := range append([]string{"any"}, of.fields[fields[0]]...) {
		e.set(fields[0], value)
		if s.left <= 0 {
			break
		}
		if found, ok := s.each(fields[1:], of, e, right); ok {
			return found, true
		}
	}
	return e, false
}

func (e *Example) set(field, value string) {
	switch field {
	case "vehicle.key":
		e.Key = value
	case "vehicle.name":
		e.Name = value
	case "vehicle.kind":
		e.Kind = value
	case "component.name":
		e.Component.Name = value
	case "component.kind":
		e.Component.Kind = value
	case "component.fluid":
		e.Component.Fluid = value
	default:
		e.Tags = maps.Clone(e.Tags)
		e.Tags[strings.TrimPrefix(field, "vehicle.tags.")] = value
	}
}

// comparands are the texts and numbers with which an expression compares fields.
type comparands struct {
	fields  map[string][]string
	numbers []float64 // capacities in litres
	units   unit.System
	// plain: it only asks whether fields are equal to texts that it names, so that what
	// none of those texts brings about no text does.
	plain bool
}

func comparandsOf(n ast.Node, u unit.System) comparands {
	s := comparands{fields: map[string][]string{}, plain: true, units: u}
	ast.Walk(&n, &s)
	return s
}

// Visit looks at each operator: what is read on either side may have any value that
// is named on either side.
func (s *comparands) Visit(n *ast.Node) {
	s.plain = s.plain && plain(*n)
	b, ok := (*n).(*ast.BinaryNode)
	if !ok || slices.Contains([]string{"&&", "||", "and", "or"}, b.Operator) {
		if f, ok := fieldOf(*n); ok {
			s.add(f, nil) // read outside a comparison too
		}
		return
	}
	in := operands{volume: s.units.Or(unit.Metric).Volume}
	ast.Walk(n, &in)
	for _, f := range in.fields {
		s.add(f, in.texts)
	}
	for _, v := range in.numbers {
		for _, near := range []float64{v - 1, v, v + 1} {
			litres, _, _ := unit.Base(near, in.volume)
			s.numbers = append(s.numbers, litres)
		}
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

// plain is false for a node that asks anything else, as of a number, or that compares
// a field with a field.
func plain(n ast.Node) bool {
	isField := func(n ast.Node) bool { _, ok := fieldOf(n); return ok }
	switch t := n.(type) {
	case *ast.BinaryNode:
		switch t.Operator {
		case "&&", "||", "and", "or":
			return true
		case "==", "!=", "in":
			return !isField(t.Left) || !isField(t.Right)
		}
	case *ast.UnaryNode:
		return t.Operator == "!" || t.Operator == "not"
	case *ast.MemberNode:
		return isField(t) || t.String() == "vehicle.tags" // and not the capacity
	case *ast.ArrayNode:
		return !slices.ContainsFunc(t.Nodes, isField)
	case *ast.IdentifierNode, *ast.StringNode, *ast.BoolNode:
		return true
	}
	return false
}

// operands are the fields, texts and numbers within one comparison.
type operands struct {
	fields, texts []string
	numbers       []float64 // in the unit of volume
	volume        string
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
	case *ast.CallNode:
		name, ok := t.Callee.(*ast.IdentifierNode)
		if last := len(o.numbers) - 1; ok && last >= 0 && slices.Contains(unit.Names(unit.Volume), name.Value) {
			litres, _, _ := unit.Base(o.numbers[last], name.Value)
			o.numbers[last] = unit.From(litres, o.volume)
		}
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
