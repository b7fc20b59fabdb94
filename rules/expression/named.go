package expression

import (
	"maps"
	"slices"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/source"
)

// Named are the texts that an expression asks a field of the register to be, as
// `component.kind == "diesel engine"` and `vehicle.tags["fuel"] in ["diesel", "petrol"]`
// do, in the order of the expression. Fields are named as [word.Field] knows them.
type Named struct {
	Fields map[string][]string
	// Denied: somewhere a text is what a field is not to be, so that the texts do not
	// tell what an expression needs.
	Denied bool
	// Where are the places of the texts; empty of an expression that may ask words.
	Where []NamedText
}

// NamedText is one of the texts, with its quotes.
type NamedText struct {
	Field, Text string
	At          source.Place
	Width       int

	from, to int
}

// placed gives the texts their places in the file.
func (n Named) placed(src excerpt) Named {
	n.Where = slices.Clone(n.Where)
	for i := range n.Where {
		t := &n.Where[i]
		f := src.makeFault(t.from, t.to, "", "")
		t.At, t.Width = f.Place, f.Width
	}
	return n
}

// and is what two expressions name that must both hold: of a field of which both name
// texts, those that both do, as o places them.
func (n Named) and(o Named) Named {
	out := Named{Fields: maps.Clone(n.Fields), Denied: n.Denied || o.Denied}
	narrowed := map[string]bool{}
	for field, texts := range o.Fields {
		common := slices.DeleteFunc(slices.Clone(texts), func(t string) bool { return !slices.Contains(n.Fields[field], t) })
		if narrowed[field] = len(common) > 0; narrowed[field] {
			out.Fields[field] = common
			continue
		}
		out.Fields[field] = slices.Clone(out.Fields[field])
		out.add(field, texts...)
	}
	out.Where = slices.Concat(slices.DeleteFunc(slices.Clone(n.Where), func(t NamedText) bool { return narrowed[t.Field] }), o.Where)
	return out
}

// namedIn is what an expression names. A field that is read otherwise has no texts.
func namedIn(n ast.Node) Named {
	out := Named{Fields: map[string][]string{}}
	ast.Walk(&n, &out)
	return out
}

// Visit implements ast.Visitor.
func (n *Named) Visit(node *ast.Node) {
	switch t := (*node).(type) {
	case *ast.MemberNode:
		if field, ok := fieldOf(t); ok {
			n.add(field)
		}
	case *ast.UnaryNode:
		n.Denied = n.Denied || t.Operator == "!" || t.Operator == "not"
	case *ast.BinaryNode:
		n.compared(t)
	}
}

func (n *Named) compared(b *ast.BinaryNode) {
	switch b.Operator {
	case "!=":
		n.Denied = true
		n.texts(b.Left, b.Right)
		n.texts(b.Right, b.Left)
	case "==":
		n.texts(b.Left, b.Right)
		n.texts(b.Right, b.Left)
	case "in":
		if list, ok := b.Right.(*ast.ArrayNode); ok {
			n.texts(b.Left, list.Nodes...)
		}
	}
}

// texts adds the texts that the field is compared with; "" is a tag that is missing.
func (n *Named) texts(field ast.Node, with ...ast.Node) {
	name, ok := fieldOf(field)
	if !ok {
		return
	}
	for _, w := range with {
		if text, ok := w.(*ast.StringNode); ok && text.Value != "" {
			n.add(name, text.Value)
			from, to := span(w)
			n.Where = append(n.Where, NamedText{Field: name, Text: text.Value, from: from, to: to})
		}
	}
}

func (n *Named) add(field string, texts ...string) {
	list := n.Fields[field]
	for _, t := range texts {
		if !slices.Contains(list, t) {
			list = append(list, t)
		}
	}
	n.Fields[field] = list
}
