package expression

import (
	"maps"

	"github.com/expr-lang/expr/ast"
)

// guard is a set of analytes that the sample is known to have where an
// expression stands.
type guard map[string]bool

func (g guard) and(more guard) guard {
	if len(more) == 0 {
		return g
	}
	out := maps.Clone(more)
	maps.Copy(out, g)
	return out
}

// whenTrue are the analytes that the sample has where n is true, whenFalse those
// where it is false. Both look through &&, ||, and not, and know nothing else.
func whenTrue(n ast.Node) guard  { return implied(n, true, 0) }
func whenFalse(n ast.Node) guard { return implied(n, false, 0) }

// guardDepth bounds the search; a deeper has() guards nothing.
const guardDepth = 12

func implied(n ast.Node, when bool, depth int) guard {
	if depth > guardDepth {
		return nil
	}
	switch n := n.(type) {
	case *ast.CallNode:
		if name, ok := n.Callee.(*ast.IdentifierNode); ok && when && (name.Value == "has" || name.Value == "hasEarlier") && len(n.Arguments) == 1 {
			if a, ok := n.Arguments[0].(*ast.StringNode); ok {
				return guard{a.Value: true}
			}
		}
	case *ast.UnaryNode:
		if n.Operator == "!" || n.Operator == "not" {
			return implied(n.Node, !when, depth+1)
		}
	case *ast.BinaryNode:
		both := when && (n.Operator == "&&" || n.Operator == "and") || !when && (n.Operator == "||" || n.Operator == "or")
		if both {
			return implied(n.Left, when, depth+1).and(implied(n.Right, when, depth+1))
		}
	}
	return nil
}
