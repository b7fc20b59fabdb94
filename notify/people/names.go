package people

import (
	"github.com/expr-lang/expr/ast"

	"telltale/rules/word"
)

// otherNames has a condition compare a kind or a tag with every name for the same thing,
// as those of rules do: petrol engine and gasoline engine.
type otherNames struct{}

// Visit implements ast.Visitor.
func (otherNames) Visit(n *ast.Node) {
	b, ok := (*n).(*ast.BinaryNode)
	if !ok {
		return
	}
	switch b.Operator {
	case "in":
		if list, ok := b.Right.(*ast.ArrayNode); ok && named(b.Left) {
			ast.Patch(n, &ast.BinaryNode{Operator: "in", Left: b.Left, Right: allNames(list.Nodes)})
		}
	case "==", "!=":
		field, text := b.Left, b.Right
		if named(text) {
			field, text = text, field
		}
		if _, ok := text.(*ast.StringNode); !ok || !named(field) {
			return
		}
		var same ast.Node = &ast.BinaryNode{Operator: "in", Left: field, Right: allNames([]ast.Node{text})}
		if b.Operator == "!=" {
			same = &ast.UnaryNode{Operator: "not", Node: same}
		}
		ast.Patch(n, same)
	}
}

// named reports whether the node reads a field of which the values have several names.
func named(n ast.Node) bool {
	m, ok := n.(*ast.MemberNode)
	if !ok {
		return false
	}
	key, ok := m.Property.(*ast.StringNode)
	if !ok {
		return false
	}
	switch of := m.Node.(type) {
	case *ast.IdentifierNode:
		return word.HasNames(of.Value + "." + key.Value)
	case *ast.MemberNode:
		return word.HasNames(of.String() + "." + key.Value)
	}
	return false
}

func allNames(list []ast.Node) *ast.ArrayNode {
	out := &ast.ArrayNode{}
	for _, n := range list {
		text, ok := n.(*ast.StringNode)
		if !ok {
			out.Nodes = append(out.Nodes, n)
			continue
		}
		for _, name := range word.Names(text.Value) {
			out.Nodes = append(out.Nodes, &ast.StringNode{Value: name})
		}
	}
	return out
}
