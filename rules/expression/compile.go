package expression

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/analytes"
	"telltale/rules/expression/quantity"
	"telltale/rules/source"
	"telltale/rules/word"
)

// Kind is what an expression gives.
type Kind uint8

// The kinds that an expression may be asked for, and those that only parts of one have.
const (
	Any Kind = iota
	Number
	Text
	Truth
	list    // of constants; only to the right of `in`
	vehicle // the names whose fields are read
	component
	tags
)

var kindWords = [...]string{"anything", "a number", "text", "true or false", "a list", "the vehicle", "the component", "the tags"}

// String is the kind as an error text has it.
func (k Kind) String() string { return kindWords[k] }

// operand is a compiled expression: the function of its kind runs it. Functions
// report what is missing or not finite to the runner and go on with a zero value.
type operand struct {
	kind  Kind
	num   func(*Runner) float64
	text  func(*Runner) string
	truth func(*Runner) bool

	constant bool
	value    float64   // of a constant number
	word     bool      // is a word or a name: evidence shows it already, or need not
	numbers  []float64 // of a list
	texts    []string
	field    string // of the register, where it is exactly that
	is       quantity.Quantity
	stated   int // how many digits count, of a figure with a unit that is written out; else 0
}

func constantNumber(v float64) operand {
	return operand{kind: Number, constant: true, value: v, num: func(*Runner) float64 { return v }, is: quantity.Quantity{Bare: true}}
}

func constantText(v string) operand {
	return operand{kind: Text, constant: true, text: func(*Runner) string { return v }, texts: []string{v}}
}

// compiler turns one parsed expression into functions, checking kinds, names
// and arguments on the way and going on after a fault to find the next.
type compiler struct {
	src   excerpt
	scope Scope
	asks  *Asks
	l     *Language

	lets      []binding
	maxLets   int
	steps     int
	component bool // reads component
	measures  bool // speaks of `measure`
	fluid     *ofFluid
	fields    []string
	unsaid    []unsaid
	failed    bool
}

// binding is a name that `let` binds; its value is kept in the state's slot.
type binding struct {
	name string
	of   operand
}

// fault reports what is wrong with a node. Faults of one expression do not
// follow from each other: a faulty operand has kind Any, which fits everywhere.
func (c *compiler) fault(n ast.Node, hint, format string, args ...any) operand {
	from, to := span(n)
	c.src.fault(from, to, hint, format, args...)
	c.failed = true
	return operand{}
}

// instead reports what is wrong with a node, of which the cure is to write text.
func (c *compiler) instead(n ast.Node, text, more, format string, args ...any) operand {
	from, to := span(n)
	c.failed = true
	if *c.src.left--; *c.src.left >= 0 {
		f := c.src.makeFault(from, to, "write "+text+more, fmt.Sprintf(format, args...))
		c.src.fix(&f, from, to, text)
		c.src.d.Add(f)
	}
	return operand{}
}

// span gives the runes of a node that best show it: a comparison at its operator,
// a choice at its condition.
func span(n ast.Node) (from, to int) {
	if c, ok := n.(*ast.ConditionalNode); ok {
		return span(c.Cond)
	}
	if m, ok := n.(*ast.MemberNode); ok {
		from, _ := span(m.Node)
		_, to := span(m.Property)
		return from, to
	}
	l := n.Location()
	return l.From, max(l.To, l.From+1)
}

// wants checks that the whole expression gives what its place needs.
func (c *compiler) wants(o operand, n ast.Node) {
	want := c.scope.Want
	switch {
	case want == Any && (o.kind == Number || o.kind == Text || o.kind == Truth), o.kind == want, o.kind == Any:
		return
	case want == Truth && o.kind == Number:
		c.fault(n, "compare it with a limit: ` … > 0`", "%s must be true or false, this gives %s", c.scope.What, o.kind)
	case want == Number && o.kind == Truth:
		c.fault(n, "a condition belongs in `raise:`, or choose a number: `… ? 1 : 0`", "%s must be a number, this gives %s", c.scope.What, o.kind)
	case want == Any:
		c.fault(n, "name one of its fields", "%s must be a number, text, or true or false, this gives %s", c.scope.What, o.kind)
	default:
		c.fault(n, "", "%s must be %s, this gives %s", c.scope.What, want, o.kind)
	}
}

// compile compiles a node.
func (c *compiler) compile(n ast.Node) operand {
	if c.steps++; c.steps > stepLimit {
		if c.steps == stepLimit+1 {
			c.src.fault(0, 1, "split the rule", "%s is too long or too deeply nested", c.scope.What)
			c.failed = true
		}
		return operand{}
	}
	switch n := n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
		return c.literal(n)
	case *ast.StringNode:
		return constantText(n.Value)
	case *ast.BoolNode:
		v := n.Value
		return operand{kind: Truth, constant: true, truth: func(*Runner) bool { return v }}
	case *ast.IdentifierNode:
		return c.identifier(n)
	case *ast.MemberNode:
		return c.member(n)
	case *ast.CallNode:
		return c.call(n)
	case *ast.UnaryNode:
		return c.unary(n)
	case *ast.BinaryNode:
		return c.binary(n)
	case *ast.ConditionalNode:
		return c.choice(n)
	case *ast.ArrayNode:
		return c.array(n)
	case *ast.VariableDeclaratorNode:
		return c.let(n)
	}
	return c.refuse(n)
}

// refuse explains what the parser knows and rules do not.
func (c *compiler) refuse(n ast.Node) operand {
	switch n := n.(type) {
	case *ast.NilNode:
		return c.fault(n, "a missing value is never read: ask `has(…)`", "there is no nil in rules")
	case *ast.BuiltinNode:
		return c.fault(n, "there are no lists to walk in a rule", "unknown function `%s`", n.Name)
	case *ast.ChainNode:
		return c.fault(n, "write `.`", "there is no `?.` in rules")
	case *ast.SequenceNode:
		return c.fault(n.Nodes[0], "use `let name = …; …`", "a rule's expression is one expression")
	case *ast.BytesNode:
		return c.fault(n, `write "text"`, "there are no bytes in rules")
	}
	return c.fault(n, "", "this is not part of the rule language")
}

// literal checks that a number is written as in the rest of the file.
func (c *compiler) literal(n ast.Node) operand {
	l := n.Location()
	s := c.src.slice(l.From, l.To)
	v, wrong, cure := source.PlainNumber(s)
	if wrong != "" {
		return c.fault(n, cure, "%s: %q %s", c.scope.What, s, wrong)
	}
	return constantNumber(v)
}

// identifier compiles a bare name.
func (c *compiler) identifier(n *ast.IdentifierNode) operand {
	for _, b := range slices.Backward(c.lets) {
		if b.name == n.Value {
			return b.of
		}
	}
	switch n.Value {
	case "vehicle":
		return operand{kind: vehicle, word: true}
	case "component":
		c.component = true
		return operand{kind: component, word: true}
	case "measure":
		if c.scope.Measure {
			c.measures = true
			return operand{kind: Number, word: true, num: func(s *Runner) float64 { return s.measure }, is: c.measured()}
		}
		return c.fault(n, "", "`measure` is known only in the limits, say and advise of a measured rule")
	case "stage":
		if c.scope.Stage {
			return operand{kind: Text, word: true, text: func(s *Runner) string { return s.stage }}
		}
		return c.fault(n, "", "`stage` is known only in say and advise")
	}
	if word.Called(n.Value) != nil || functions[n.Value].compile != nil {
		return c.fault(n, "write `"+n.Value+"(…)`", "`%s` is a call", n.Value)
	}
	if analytes.Known(n.Value) {
		return c.instead(n, `value("`+n.Value+`")`, "", "unknown name `%s`", n.Value)
	}
	if near := c.src.d.DidYouMean(n.Value, c.names(), ""); near != "" {
		return c.fault(n, near, "unknown name `%s`", n.Value)
	}
	return c.instead(n, strconv.Quote(n.Value), " if it is text; `telltale rules words` lists what a rule may ask", "unknown name `%s`", n.Value)
}

// names are all names that may stand at the beginning of an expression.
func (c *compiler) names() []string {
	out := []string{"vehicle", "component"}
	if c.scope.Measure {
		out = append(out, "measure")
	}
	for _, w := range word.All() {
		out = append(out, w.Name)
	}
	for _, f := range word.Functions {
		out = append(out, f.Name)
	}
	return out
}

// choice compiles `condition ? this : that`.
func (c *compiler) choice(n *ast.ConditionalNode) operand {
	cond := c.needs(n.Cond, c.compile(n.Cond), Truth, "a choice")
	a := c.compile(n.Exp1)
	b := c.compile(n.Exp2)
	if cond.kind == Any || a.kind == Any || b.kind == Any {
		return operand{}
	}
	if a.kind != b.kind {
		return c.fault(n.Exp2, "", "the two sides of a choice must be of one kind, these are %s and %s", a.kind, b.kind)
	}
	switch a.kind {
	case Number:
		sides := []operand{a, b}
		is, ok := c.alike(n.Exp2, "a choice", sides, n.Exp1, n.Exp2)
		if !ok {
			return operand{}
		}
		return operand{kind: Number, num: either(cond.truth, sides[0].num, sides[1].num, Equal), is: is}
	case Text:
		return operand{kind: Text, text: either(cond.truth, a.text, b.text, func(x, y string) bool { return x == y })}
	case Truth:
		return operand{kind: Truth, truth: either(cond.truth, a.truth, b.truth, func(x, y bool) bool { return x == y })}
	}
	return c.fault(n.Exp1, "name one of its fields", "a choice cannot give %s", a.kind)
}

// either gives one side of a choice, or where what chooses lacks something, what both
// sides give.
func either[T any](test func(*Runner) bool, a, b func(*Runner) T, same func(x, y T) bool) func(*Runner) T {
	return func(s *Runner) T {
		before := len(s.missing)
		chosen := test(s)
		lacks := len(s.missing)
		switch {
		case lacks > before:
			return whichever(s, before, lacks, a, b, same)
		case chosen:
			return a(s)
		}
		return b(s)
	}
}

// needs checks an operand's kind; what says for whom.
func (c *compiler) needs(n ast.Node, o operand, want Kind, what string) operand {
	if o.kind == want || o.kind == Any {
		return o
	}
	hint := ""
	switch {
	case want == Truth && o.kind == Number:
		hint = "compare it: `… > 0`"
	case want == Number && o.kind == Text && o.constant && len(o.texts) == 1 && analytes.Known(o.texts[0]):
		hint = fmt.Sprintf("write value(%q)", o.texts[0])
	case want == Number && o.kind == Text && o.constant:
		hint = "write numbers without quotes"
	case o.kind >= vehicle:
		hint = "name one of its fields: " + strings.Join(fieldNames(o.kind), ", ")
	}
	return c.fault(n, hint, "%s needs %s, this is %s", what, want, o.kind)
}

// let compiles `let name = value; rest`. The value is run once; what it lacks is missing
// where the name is used.
func (c *compiler) let(n *ast.VariableDeclaratorNode) operand {
	v := c.compile(n.Value)
	if n.Name == "vehicle" || n.Name == "component" || n.Name == "measure" || n.Name == "stage" {
		return c.fault(n, "choose another name", "`%s` already has a meaning", n.Name)
	}
	if v.kind > Truth {
		return c.fault(n.Value, "", "let can name a number, text, or true or false, this is %s", v.kind)
	}
	slot := len(c.lets)
	name := operand{kind: v.kind, word: true, field: v.field, is: v.is,
		num:   func(s *Runner) float64 { return s.named(slot).num },
		text:  func(s *Runner) string { return s.named(slot).text },
		truth: func(s *Runner) bool { return s.named(slot).truth },
	}
	c.lets = append(c.lets, binding{n.Name, name})
	c.maxLets = max(c.maxLets, len(c.lets))
	rest := c.compile(n.Expr)
	c.lets = c.lets[:slot]
	if v.kind == Any || rest.kind == Any {
		return operand{}
	}
	value := binder(v, slot, n.Value.String())
	bind := func(s *Runner) {
		before := len(s.missing)
		value(s)
		s.lets[slot].missing, s.lets[slot].open = slices.Clone(s.missing[before:]), s.open
		s.missing = s.missing[:before]
	}
	x, y, z := rest.num, rest.text, rest.truth
	return operand{kind: rest.kind, numbers: rest.numbers, texts: rest.texts, is: rest.is,
		num:   func(s *Runner) float64 { bind(s); return x(s) },
		text:  func(s *Runner) string { bind(s); return y(s) },
		truth: func(s *Runner) bool { bind(s); return z(s) },
	}
}

// binder stores a let's value into its slot, and tells the evidence.
func binder(v operand, slot int, of string) func(*Runner) {
	switch v.kind {
	case Number:
		return func(s *Runner) {
			before := len(s.missing)
			x := v.num(s)
			s.lets[slot].num = x
			if s.record != nil && len(s.missing) == before && !v.constant && !v.word && !choice(of) {
				s.Record(word.Evidence{Of: of, Value: x, Unit: v.is.ShownIn()})
			}
		}
	case Text:
		return func(s *Runner) { s.lets[slot].text = v.text(s) }
	}
	return func(s *Runner) { s.lets[slot].truth = v.truth(s) }
}

// array compiles a list of constants, which may stand to the right of `in`.
func (c *compiler) array(n *ast.ArrayNode) operand {
	out := operand{kind: list, constant: true, is: quantity.Quantity{Bare: true}}
	for _, e := range n.Nodes {
		o := c.compile(e)
		switch {
		case o.kind == Any:
		case !o.constant || o.kind != Number && o.kind != Text:
			c.fault(e, "", "a list holds numbers or texts that are written out")
		case o.kind == Number:
			out.numbers, out.is = append(out.numbers, o.value), o.is
		default:
			out.texts = append(out.texts, o.texts[0])
		}
	}
	if len(out.numbers) > 0 && len(out.texts) > 0 {
		return c.fault(n, "", "a list holds numbers or texts, not both")
	}
	return out
}
