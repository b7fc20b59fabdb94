package expression

import (
	"regexp"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/expression/bounds"
	"telltale/rules/expression/quantity"
	"telltale/rules/word"
)

func (c *compiler) unary(n *ast.UnaryNode) operand {
	o := c.compile(n.Node)
	switch n.Operator {
	case "-", "+":
		o = c.needs(n.Node, o, Number, "`"+n.Operator+"`")
		if o.kind == Any || n.Operator == "+" {
			return o
		}
		if o.constant {
			o.become(-o.value)
			return o
		}
		x := o.num
		return operand{kind: Number, is: o.is, num: func(s *Runner) float64 {
			v := -x(s)
			s.open = bounds.Bounds{Low: -s.open.High, High: -s.open.Low}
			return v
		}}
	}
	if o = c.needs(n.Node, o, Truth, "`"+n.Operator+"`"); o.kind == Any {
		return o
	}
	x := o.truth
	return operand{kind: Truth, truth: func(s *Runner) bool { return !x(s) }}
}

func (c *compiler) binary(n *ast.BinaryNode) operand {
	switch n.Operator {
	case "??":
		return c.fault(n, "a missing value is never read: ask `has(…) ? … : …`; a missing tag is \"\"", "there is no `??` in rules")
	case "..":
		return c.fault(n, "write `x >= 1 && x <= 5`", "there are no ranges in rules")
	case "**", "^", "%":
		return c.fault(n, "the operators are + - * /", "there is no `%s` in rules", n.Operator)
	}
	l, r := c.compile(n.Left), c.compile(n.Right)
	switch n.Operator {
	case "&&", "and", "||", "or":
		return c.logic(n, l, r)
	case "+", "-", "*", "/":
		return c.arithmetic(n, l, r)
	case "==", "!=":
		return c.equality(n, l, r)
	case "<", "<=", ">", ">=":
		return c.comparison(n, l, r)
	case "in":
		return c.membership(n, l, r)
	}
	return c.textTest(n, l, r)
}

// both checks the kinds of an operator's two sides; ok is false where one is faulty.
func (c *compiler) both(n *ast.BinaryNode, l, r operand, want Kind) (x, y operand, ok bool) {
	x = c.needs(n.Left, l, want, "`"+n.Operator+"`")
	y = c.needs(n.Right, r, want, "`"+n.Operator+"`")
	return x, y, x.kind != Any && y.kind != Any
}

func (c *compiler) logic(n *ast.BinaryNode, l, r operand) operand {
	l, r, ok := c.both(n, l, r, Truth)
	if !ok {
		return operand{}
	}
	return operand{kind: Truth, truth: decided(l.truth, r.truth, n.Operator == "||" || n.Operator == "or")}
}

// decided gives `x and y`, or with by `x or y`. A side that decides does so whatever the
// other lacks, on either side; else what either lacks is missing.
func decided(x, y func(*Runner) bool, by bool) func(*Runner) bool {
	return func(s *Runner) bool {
		before := len(s.missing)
		a := x(s)
		lacks := len(s.missing)
		if lacks == before && a == by {
			return by
		}
		b := y(s)
		if len(s.missing) == lacks && b == by {
			s.missing = s.missing[:before]
			return by
		}
		return !by
	}
}

var reckonings = map[string]func(a, b float64) float64{
	"+": func(a, b float64) float64 { return a + b },
	"-": func(a, b float64) float64 { return a - b },
	"*": func(a, b float64) float64 { return a * b },
	"/": func(a, b float64) float64 { return a / b },
}

// arithmetic checks each result, so that a division by zero inside a comparison
// is not taken for an answer.
func (c *compiler) arithmetic(n *ast.BinaryNode, l, r operand) operand {
	if n.Operator == "+" && l.kind == Text && r.kind == Text {
		return c.fault(n, "in a template write two `${ }` beside each other", "texts cannot be added")
	}
	l, r, ok := c.both(n, l, r, Number)
	if !ok {
		return operand{}
	}
	if n.Operator == "/" && r.constant && r.value == 0 {
		return c.fault(n, "", "a division by zero")
	}
	l, r, is, ok := c.reckoned(n, l, r)
	if !ok {
		return operand{}
	}
	x, y, of := l.num, r.num, n.String()
	reckon := reckonings[n.Operator]
	reach := reaches[n.Operator]
	out := operand{kind: Number, is: is, num: func(s *Runner) float64 {
		before := len(s.missing)
		a := s.spanOf(before, x(s))
		now := len(s.missing)
		b := s.spanOf(now, y(s))
		if len(s.missing) > before {
			return s.opened(reach(a, b))
		}
		return s.check(reckon(a.Low, b.Low), of)
	}}
	if l.constant && r.constant {
		return c.fold(n, out)
	}
	return out
}

// fold reckons a constant once.
func (c *compiler) fold(n ast.Node, o operand) operand {
	var s Runner
	v := o.num(&s)
	if len(s.missing) > 0 {
		return c.fault(n, "", "%s", s.missing[0])
	}
	o.become(v)
	return o
}

// reckoned is what the outcome of an operator measures, with its sides.
func (c *compiler) reckoned(n *ast.BinaryNode, l, r operand) (x, y operand, is quantity.Quantity, ok bool) {
	switch n.Operator {
	case "*":
		return l, r, l.is.Times(r.is, 1), true
	case "/":
		return l, r, l.is.Times(r.is, -1), true
	}
	sign := 1
	if n.Operator == "-" {
		sign = -1
	}
	x, y, ok = c.pair(n, l, r)
	return x, y, x.is.Plus(y.is, sign), ok
}

// shown wraps a compared number so that the evidence of an instrumented run
// shows it, unless it is a constant or a word that shows itself.
func shown(o operand, n ast.Node) func(*Runner) float64 {
	x, of := o.num, n.String()
	if o.constant || o.word || choice(of) {
		return x
	}
	return func(s *Runner) float64 {
		before := len(s.missing)
		v := x(s)
		if s.record != nil && len(s.missing) == before {
			s.Record(word.Evidence{Of: of, Value: v, Unit: o.is.ShownIn()})
		}
		return v
	}
}

func (c *compiler) comparison(n *ast.BinaryNode, l, r operand) operand {
	l, r, ok := c.both(n, l, r, Number)
	if !ok {
		return operand{}
	}
	if l, r, ok = c.comparable(n, l, r); !ok {
		return operand{}
	}
	return operand{kind: Truth, truth: relations[n.Operator].compared(shown(l, n.Left), shown(r, n.Right))}
}

func (c *compiler) equality(n *ast.BinaryNode, l, r operand) operand {
	if l.kind == Any || r.kind == Any {
		return operand{}
	}
	if l.kind != r.kind {
		return c.fault(n, "", "`%s` compares %s with %s", n.Operator, l.kind, r.kind)
	}
	same := n.Operator == "=="
	out := operand{kind: Truth}
	switch l.kind {
	case Number:
		l, r, ok := c.comparable(n, l, r)
		if !ok {
			return operand{}
		}
		out.truth = relations[n.Operator].compared(shown(l, n.Left), shown(r, n.Right))
	case Text:
		out.truth = sameText(l, r, same)
	case Truth:
		x, y := l.truth, r.truth
		out.truth = func(s *Runner) bool { return (x(s) == y(s)) == same }
	default:
		hint := ""
		if l.kind >= vehicle {
			hint = "name one of its fields: " + strings.Join(fieldNames(l.kind), ", ")
		}
		return c.fault(n, hint, "`%s` cannot compare %s", n.Operator, l.kind)
	}
	return out
}

// sameText compares two texts. A kind or tag that is compared with a text is compared
// with every name for the same thing.
func sameText(l, r operand, same bool) func(*Runner) bool {
	for _, side := range [][2]operand{{l, r}, {r, l}} {
		if field, text := side[0], side[1]; text.constant && word.HasNames(field.field) {
			x, names := field.text, word.Names(text.texts[0])
			return func(s *Runner) bool { return slices.Contains(names, x(s)) == same }
		}
	}
	x, y := l.text, r.text
	return func(s *Runner) bool { return (x(s) == y(s)) == same }
}

// named is a list of texts with every other name for what they say, where a field that
// has such is looked for in it.
func named(field string, texts []string) []string {
	if !word.HasNames(field) {
		return texts
	}
	var out []string
	for _, t := range texts {
		out = append(out, word.Names(t)...)
	}
	return out
}

// membership compiles `x in ["a", "b"]`.
func (c *compiler) membership(n *ast.BinaryNode, l, r operand) operand {
	if l.kind == Any || r.kind == Any {
		return operand{}
	}
	if r.kind == tags {
		return c.fault(n, `write vehicle.tags["name"] != ""`, "`in` needs a list on its right")
	}
	if r.kind != list {
		return c.fault(n.Right, `write ["a", "b"]`, "`in` needs a list on its right, this is %s", r.kind)
	}
	switch {
	case l.kind == Text && len(r.numbers) == 0:
		x, set := l.text, named(l.field, r.texts)
		return operand{kind: Truth, truth: func(s *Runner) bool { return slices.Contains(set, x(s)) }}
	case l.kind == Number && len(r.texts) == 0:
		if _, ok := c.alike(n, "`in`", []operand{l, r}, n.Left, n.Right); !ok {
			return operand{}
		}
		x, set := shown(l, n.Left), r.numbers
		return operand{kind: Truth, truth: func(s *Runner) bool {
			v := x(s)
			return slices.ContainsFunc(set, func(e float64) bool { return Equal(v, e) })
		}}
	}
	return c.fault(n, "", "`in` compares %s with a list of another kind", l.kind)
}

var textTests = map[string]func(a, b string) bool{"contains": strings.Contains, "startsWith": strings.HasPrefix, "endsWith": strings.HasSuffix}

// textTest compiles contains, startsWith, endsWith and matches.
func (c *compiler) textTest(n *ast.BinaryNode, l, r operand) operand {
	l, r, ok := c.both(n, l, r, Text)
	if !ok {
		return operand{}
	}
	x, y := l.text, r.text
	if test := textTests[n.Operator]; test != nil {
		return operand{kind: Truth, truth: func(s *Runner) bool { return test(x(s), y(s)) }}
	}
	if n.Operator != "matches" {
		return c.fault(n, "", "there is no `%s` in rules", n.Operator)
	}
	if !r.constant {
		return c.fault(n.Right, "", "the pattern of `matches` must be written out")
	}
	re, err := regexp.Compile(r.texts[0])
	if err != nil {
		return c.fault(n.Right, "the syntax is that of RE2", "the pattern of `matches` cannot be read: %s", firstLine(err.Error()))
	}
	return operand{kind: Truth, truth: func(s *Runner) bool { return re.MatchString(x(s)) }}
}
