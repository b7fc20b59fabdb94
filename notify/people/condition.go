package people

import (
	"errors"
	"strings"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"
	"gopkg.in/yaml.v3"

	"telltale/engine/event"
	"telltale/notify/page"
)

// maxCondition bounds a condition's text; expr itself has no limit of time.
const maxCondition = 4 << 10

// env is what a "where" of people.yaml may ask.
type env struct {
	Vehicle   Vehicle   `expr:"vehicle"`
	Component Component `expr:"component"`
	Rule      string    `expr:"rule"`  // the rule's or task's name
	Stage     string    `expr:"stage"` // soon … warning
	Task      bool      `expr:"task"`
	Statutory bool      `expr:"statutory"`
}

// Vehicle is what deciding who hears may know of a vehicle.
type Vehicle struct {
	ID         string            `expr:"id"`
	Name       string            `expr:"name"`
	Kind       string            `expr:"kind"`
	Tags       map[string]string `expr:"tags"`
	People     []string          `expr:"people"`
	Components []Component       `expr:"components"`
	// Plate is as the register has it, Present the present names of what was renamed.
	Plate string `expr:"-"`
	// Reads are the units in which people read of it, where the register says.
	Reads   []string           `expr:"-"`
	Present event.PresentNames `expr:"-"`
}

// Component is what deciding who hears may know of a component.
type Component struct {
	Name  string `expr:"name"`
	Kind  string `expr:"kind"`
	Fluid string `expr:"fluid"`
}

// component returns the component of that name; one that is not registered has
// its name alone.
func (v Vehicle) component(name string) Component {
	for _, c := range v.Components {
		if c.Name == name {
			return c
		}
	}
	return Component{Name: name}
}

func (r *reader) condition(n *yaml.Node) *vm.Program {
	text, ok := r.Given(n, "where")
	if !ok {
		return nil
	}
	if len(text) > maxCondition {
		r.Fault(n, "", "where is over %d KiB", maxCondition>>10)
		return nil
	}
	tree, err := parser.Parse(text)
	if err != nil {
		r.Fault(n, "", "where: %s", firstLine(err))
		return nil
	}
	g := &guard{}
	ast.Walk(&tree.Node, g)
	if g.refused != "" {
		r.Fault(n, "compare names, kinds, tags, people and stages with == != in and or not", "where: %s is not allowed here", g.refused)
		return nil
	}
	p, err := compiled(text)
	if err != nil {
		r.Fault(n, "", "where: %s", firstLine(err))
		return nil
	}
	return p
}

// guard lets through only what ends at once and cannot fail: no calls of any
// kind, no ranges, no indexing by number, no pattern that is not a constant.
type guard struct{ refused string }

func (g *guard) Visit(n *ast.Node) {
	switch n := (*n).(type) {
	case *ast.StringNode, *ast.BoolNode, *ast.IntegerNode, *ast.FloatNode, *ast.UnaryNode, *ast.ConditionalNode, *ast.ArrayNode:
	case *ast.IdentifierNode:
		if strings.HasPrefix(n.Value, "$") {
			g.refused = n.Value
		}
	case *ast.MemberNode:
		if _, ok := n.Property.(*ast.StringNode); !ok || n.Method {
			g.refused = "an index"
		}
	case *ast.BinaryNode:
		g.binary(n)
	default:
		g.refused = "this"
	}
}

func (g *guard) binary(n *ast.BinaryNode) {
	switch n.Operator {
	case "==", "!=", "<", "<=", ">", ">=", "in", "and", "&&", "or", "||", "startsWith", "endsWith", "contains":
	case "matches":
		if _, ok := n.Right.(*ast.StringNode); !ok {
			g.refused = "matches with a pattern that is not a constant"
		}
	default:
		g.refused = n.Operator
	}
}

// holds runs the condition. What cannot be decided is answered with otherwise:
// a message too many is better than a warning lost.
func holds(p *vm.Program, e env, otherwise bool) bool {
	out, err := expr.Run(p, e)
	if err != nil {
		return otherwise
	}
	yes, _ := out.(bool)
	return yes
}

// firstLine is what the parser complains of; it may quote what stands in the file.
func firstLine(err error) string {
	s := err.Error()
	var fe *file.Error
	if errors.As(err, &fe) {
		s = fe.Message
	}
	s, _, _ = strings.Cut(s, "\n")
	return page.Clean(s, 200)
}
