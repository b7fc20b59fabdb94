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
