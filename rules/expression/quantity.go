package expression

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/expression/quantity"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// askedFor is what the answer to a question measures, in the units of the file.
func askedFor(q *question) quantity.Quantity {
	out := quantity.Quantity{Difference: q.info.Difference, In: q.info.In(*q.units, q.own())}
	for _, p := range q.info.Measures(q.own()) {
		if p.Of != unit.None {
			out.Powers[p.Of] = p.Is
		}
	}
	out.Index = out.Powers == quantity.Ratio && q.info.Of == word.Analyte && q.info.Unit != ""
	return out
}

// alike checks that the operands of what measure the same. A number that is written out
// takes what the others measure, and a figure with a unit is put into theirs.
func (c *compiler) alike(n ast.Node, what string, sides []operand, at ...ast.Node) (quantity.Quantity, bool) {
	first := slices.IndexFunc(sides, func(o operand) bool { return !o.is.Bare && !o.constant })
	if first < 0 {
		first = slices.IndexFunc(sides, func(o operand) bool { return !o.is.Bare })
	}
	if first < 0 {
		return quantity.Quantity{Bare: true}, true
	}
	of := sides[first].is
	for i := range sides {
		o := &sides[i]
		switch {
		case i == first:
		case o.is.Bare:
			c.takes(at[i], *o, of)
		case o.is.Powers != of.Powers && o.is.Beside(of):
		case o.is.Powers != of.Powers:
			a, b := min(i, first), max(i, first)
			c.fault(n, quantity.Unlike(sides[a].is, sides[b].is), "%s needs two of a kind: %s is %s, %s is %s", what, shortly(at[a]), sides[a].is, shortly(at[b]), sides[b].is)
			return quantity.Quantity{}, false
		case o.is.In != of.In && o.constant:
			base, _, _ := unit.Base(o.value, o.is.In)
			o.become(unit.From(base, of.In))
		case o.is.In != of.In && o.is.In != "" && of.In != "":
			k, _ := of.Only()
			c.fault(n, quantity.OneUnit(k, of.In), "%s needs two of one unit: %s is in %s, %s is in %s", what, shortly(at[first]), of.In, shortly(at[i]), o.is.In)
			return quantity.Quantity{}, false
		}
	}
	return of, true
}

// become makes another number of a constant.
func (o *operand) become(v float64) {
	is := o.is
	*o = constantNumber(v)
	o.is = is
}

// pair is alike for the two sides of an operator.
func (c *compiler) pair(n *ast.BinaryNode, l, r operand) (x, y operand, ok bool) {
	sides := []operand{l, r}
	_, ok = c.alike(n, "`"+n.Operator+"`", sides, n.Left, n.Right)
	return sides[0], sides[1], ok
}

// comparable is pair for two that are compared: a temperature is no difference of two.
func (c *compiler) comparable(n *ast.BinaryNode, l, r operand) (x, y operand, ok bool) {
	x, y, ok = c.pair(n, l, r)
	k, _ := x.is.Only()
	if ok && k == unit.Temperature && !x.is.Bare && !y.is.Bare && x.is.Difference != y.is.Difference {
		c.fault(n, "write the number alone, or compare two of the same", "`%s` compares a temperature with a difference of two", n.Operator)
		return x, y, false
	}
	return x, y, ok
}

// shortly shows a part of an expression in an error text.
func shortly(n ast.Node) string {
	const enough = 40
	s := n.String()
	if utf8.RuneCountInString(s) > enough {
		return string([]rune(s)[:enough-1]) + "…"
	}
	return s
}

// unsaid is a number that counts in a unit that the file does not say.
type unsaid struct {
	kind     unit.Kind
	from, to int // of the expression
}

// takes notes that a number that is written out counts in what the other side measures. 0
// is the same in any unit.
func (c *compiler) takes(at ast.Node, o operand, of quantity.Quantity) {
	if o.constant && o.value == 0 {
		return
	}
	for _, k := range []unit.Kind{unit.Distance, unit.Volume} {
		known := slices.ContainsFunc(c.unsaid, func(u unsaid) bool { return u.kind == k })
		if of.Powers[k] != 0 && c.scope.Units.Of(k) == "" && !known {
			from, to := span(at)
			c.unsaid = append(c.unsaid, unsaid{k, from, to})
		}
	}
}

// askUnits asks a file, once for each kind, for the units in which its numbers count.
func (l *Language) askUnits(src excerpt, all []unsaid) {
	for _, u := range all {
		key := fmt.Sprint(u.kind, " ", src.d.Place(src.n).File)
		if l.asked[key] {
			continue
		}
		l.asked[key] = true
		noun, choices := quantity.Nouns[u.kind], unit.Choices(u.kind)
		l.Questions = append(l.Questions, src.makeFault(u.from, u.to,
			fmt.Sprintf("write `units: {%s: %s}` at the top of the file, or %s", noun, choices[0], strings.Join(choices[1:], " or ")),
			fmt.Sprintf("the file does not say its unit of %s, so this counts in %s", noun, choices[0])))
	}
}

// likeMeasure checks that a limit measures what the measure does.
func (c *compiler) likeMeasure(o operand, n ast.Node) operand {
	of := c.scope.Of
	if c.scope.Want != Number || of == nil || o.kind != Number {
		return o
	}
	switch m := of.value.is; {
	case o.is.Bare || m.Bare:
		if o.is.Bare && !m.Bare {
			c.takes(n, o, m)
		}
	case m.Powers != o.is.Powers && m.Beside(o.is):
	case m.Powers != o.is.Powers:
		return c.fault(n, "write a number, or what the measure can be compared with", "%s is %s, but the measure is %s", c.scope.What, o.is, m)
	case m.In != o.is.In && o.constant:
		base, _, _ := unit.Base(o.value, o.is.In)
		o.become(unit.From(base, m.In))
	}
	return o
}

// measured is what `measure` stands for.
func (c *compiler) measured() quantity.Quantity {
	if c.scope.Of == nil {
		return quantity.Quantity{Bare: true}
	}
	return c.scope.Of.value.is
}

// figure compiles a number with its unit, such as km(5000): it is the same whatever units
// the file speaks.
func figure(c *compiler, n *ast.CallNode, args []operand) operand {
	name := n.Callee.(*ast.IdentifierNode).Value
	o := args[0]
	if !o.constant || !o.is.Bare {
		return c.fault(n.Arguments[0], "write "+name+"(5)", "the argument of %s must be a number, written out", name)
	}
	base, kind, _ := unit.Base(o.value, name)
	in := cmp.Or(c.scope.Units.Or(unit.Metric).Of(kind), name)
	v := o.value
	if in != name {
		v = unit.From(base, in)
	}
	out := constantNumber(v)
	out.is = quantity.Quantity{In: in}
	out.is.Powers[kind] = 1
	out.stated = digits(o.value)
	return out
}

// digits counts the digits of a number that count: 1 of 5000, 2 of 2.5.
func digits(v float64) int {
	whole, part, _ := strings.Cut(strconv.FormatFloat(math.Abs(v), 'f', -1, 64), ".")
	if part == "" {
		whole = strings.TrimRight(whole, "0")
	}
	return max(1, len(strings.TrimLeft(whole+part, "0")))
}
