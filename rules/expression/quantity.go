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

	"telltale/rules/unit"
	"telltale/rules/word"
)

// quantity is what a number measures. It is known when an expression is compiled, so that
// iron is not compared with a distance; nothing of it is left when it runs.
type quantity struct {
	powers dimension
	in     string // its unit, where that is one: "km", "mg/kg"
	// bare: a number that is written out, which takes what the other side measures.
	bare bool
	// difference: of two results. A temperature of 20 degC is 68 degF, but 20 degC more are
	// 36 degF more.
	difference bool
	// index: what a laboratory reports as a number without a unit. It may be set beside any
	// result, as a ferrous index is beside the iron.
	index bool
}

// dimension is the powers of the kinds of quantity, by kind: 1 of a distance for a
// distance, -1 of one for what is given for each kilometre, none for a ratio.
type dimension [32]int8

var ratio dimension

// askedFor is what the answer to a question measures, in the units of the file.
func askedFor(q *question) quantity {
	out := quantity{difference: q.info.Difference, in: q.info.In(*q.units, q.own())}
	for _, p := range q.info.Measures(q.own()) {
		if p.Of != unit.None {
			out.powers[p.Of] = p.Is
		}
	}
	out.index = out.powers == ratio && q.info.Of == word.Analyte && q.info.Unit != ""
	return out
}

// beside reports whether one is an index and the other may be set beside it.
func (q quantity) beside(o quantity) bool {
	for _, k := range []unit.Kind{unit.Distance, unit.Time, unit.Days, unit.Volume} {
		if q.powers[k] != 0 || o.powers[k] != 0 {
			return false
		}
	}
	return q.index || o.index
}

// only is the kind of a quantity that measures one and nothing else.
func (q quantity) only() (k unit.Kind, ok bool) {
	for i, p := range q.powers {
		switch {
		case p == 1 && k == unit.None:
			k = unit.Kind(i)
		case p != 0:
			return unit.None, false
		}
	}
	return k, k != unit.None
}

// shownIn is the unit by which evidence shows a number that was reckoned; "" for one that
// is told as a number alone.
func (q quantity) shownIn() string {
	switch k, _ := q.only(); k {
	case unit.Temperature:
		if q.difference {
			return ""
		}
		return q.in
	case unit.Distance, unit.Time, unit.Days, unit.Volume, unit.Pressure:
		return q.in
	}
	return ""
}

// times is what the product measures, or with -1 the quotient.
func (q quantity) times(o quantity, sign int8) quantity {
	out := quantity{bare: q.bare && o.bare}
	for i := range q.powers {
		out.powers[i] = q.powers[i] + sign*o.powers[i]
	}
	switch {
	case o.powers == ratio:
		out.in, out.difference, out.index = q.in, q.difference, q.index
	case q.powers == ratio && sign > 0:
		out.in, out.difference, out.index = o.in, o.difference, o.index
	}
	return out
}

// plus is what the sum of two quantities of one kind measures, or with -1 the difference.
func (q quantity) plus(o quantity, sign int) quantity {
	switch {
	case q.bare:
		return o
	case o.bare:
		return q
	}
	q.in = cmp.Or(q.in, o.in)
	q.difference = q.difference && o.difference || sign < 0 && !q.difference && !o.difference
	return q
}

// alike checks that the operands of what measure the same. A number that is written out
// takes what the others measure, and a figure with a unit is put into theirs.
func (c *compiler) alike(n ast.Node, what string, sides []operand, at ...ast.Node) (quantity, bool) {
	first := slices.IndexFunc(sides, func(o operand) bool { return !o.is.bare && !o.constant })
	if first < 0 {
		first = slices.IndexFunc(sides, func(o operand) bool { return !o.is.bare })
	}
	if first < 0 {
		return quantity{bare: true}, true
	}
	of := sides[first].is
	for i := range sides {
		o := &sides[i]
		switch {
		case i == first:
		case o.is.bare:
			c.takes(at[i], *o, of)
		case o.is.powers != of.powers && o.is.beside(of):
		case o.is.powers != of.powers:
			a, b := min(i, first), max(i, first)
			c.fault(n, unlike(sides[a].is, sides[b].is), "%s needs two of a kind: %s is %s, %s is %s", what, shortly(at[a]), sides[a].is, shortly(at[b]), sides[b].is)
			return quantity{}, false
		case o.is.in != of.in && o.constant:
			base, _, _ := unit.Base(o.value, o.is.in)
			o.become(unit.From(base, of.in))
		case o.is.in != of.in && o.is.in != "" && of.in != "":
			k, _ := of.only()
			c.fault(n, oneUnit(k, of.in), "%s needs two of one unit: %s is in %s, %s is in %s", what, shortly(at[first]), of.in, shortly(at[i]), o.is.in)
			return quantity{}, false
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
	k, _ := x.is.only()
	if ok && k == unit.Temperature && !x.is.bare && !y.is.bare && x.is.difference != y.is.difference {
		c.fault(n, "write the number alone, or compare two of the same", "`%s` compares a temperature with a difference of two", n.Operator)
		return x, y, false
	}
	return x, y, ok
}

// unlike is what to write instead of two that measure different things.
func unlike(l, r quantity) string {
	a, _ := l.only()
	b, _ := r.only()
	switch {
	case a == unit.Time && b == unit.Days || a == unit.Days && b == unit.Time:
		return "hours are run, days are of the calendar: ask both for one of them"
	case a == unit.Distance && b == unit.Time || a == unit.Time && b == unit.Distance:
		return "ask both by distance, or both by hours"
	case l.powers == ratio || r.powers == ratio:
		return "compare a ratio with a ratio or a number, and a quantity with its like"
	}
	return "compare like with like, or write a number in place of one"
}

func oneUnit(k unit.Kind, in string) string {
	for key, kind := range map[string]unit.Kind{"volume": unit.Volume, "temperature": unit.Temperature, "pressure": unit.Pressure} {
		if k == kind {
			return "add `units: {" + key + ": " + in + "}` to the file, so that both are in one"
		}
	}
	return "measure both in one unit"
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

// nouns are what people call the kinds that no laboratory reports.
var nouns = map[unit.Kind]string{unit.Distance: "distance", unit.Time: "hour", unit.Days: "day", unit.Volume: "volume"}

// alone is what they call one of these by itself, where that is not "a distance".
var alone = map[unit.Kind]string{unit.Time: "running hours", unit.Days: "days of the calendar"}

// String is the quantity as an error text has it.
func (q quantity) String() string {
	if q.bare || q.powers == ratio {
		return "a number without a unit"
	}
	if k, ok := q.only(); ok && !q.difference {
		if name := unit.Names(k); len(name) > 0 && nouns[k] == "" && name[0] != k.String() {
			return fmt.Sprintf("%s (%s)", k, cmp.Or(q.in, name[0]))
		}
		return cmp.Or(alone[k], k.String())
	}
	var of, per []string
	for i, p := range q.powers {
		k := unit.Kind(i)
		noun := nouns[k]
		if noun == "" && p != 0 {
			noun = unit.Names(k)[0]
		}
		for range max(p, -p) {
			if p > 0 {
				of = append(of, noun)
			} else {
				per = append(per, noun)
			}
		}
	}
	out := strings.Join(of, " times ")
	if len(per) > 0 {
		out = strings.TrimSpace(cmp.Or(out, "1") + " per " + strings.Join(per, " and "))
	}
	if q.difference && len(per) == 0 {
		return "a difference in " + out
	}
	return out
}

// unsaid is a number that counts in a unit that the file does not say.
type unsaid struct {
	kind     unit.Kind
	from, to int // of the expression
}

// takes notes that a number that is written out counts in what the other side measures. 0
// is the same in any unit.
func (c *compiler) takes(at ast.Node, o operand, of quantity) {
	if o.constant && o.value == 0 {
		return
	}
	for _, k := range []unit.Kind{unit.Distance, unit.Volume} {
		known := slices.ContainsFunc(c.unsaid, func(u unsaid) bool { return u.kind == k })
		if of.powers[k] != 0 && c.scope.Units.Of(k) == "" && !known {
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
		noun, choices := nouns[u.kind], unit.Choices(u.kind)
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
	case o.is.bare || m.bare:
		if o.is.bare && !m.bare {
			c.takes(n, o, m)
		}
	case m.powers != o.is.powers && m.beside(o.is):
	case m.powers != o.is.powers:
		return c.fault(n, "write a number, or what the measure can be compared with", "%s is %s, but the measure is %s", c.scope.What, o.is, m)
	case m.in != o.is.in && o.constant:
		base, _, _ := unit.Base(o.value, o.is.in)
		o.become(unit.From(base, m.in))
	}
	return o
}

// measured is what `measure` stands for.
func (c *compiler) measured() quantity {
	if c.scope.Of == nil {
		return quantity{bare: true}
	}
	return c.scope.Of.value.is
}

// figure compiles a number with its unit, such as km(5000): it is the same whatever units
// the file speaks.
func figure(c *compiler, n *ast.CallNode, args []operand) operand {
	name := n.Callee.(*ast.IdentifierNode).Value
	o := args[0]
	if !o.constant || !o.is.bare {
		return c.fault(n.Arguments[0], "write "+name+"(5)", "the argument of %s must be a number, written out", name)
	}
	base, kind, _ := unit.Base(o.value, name)
	in := cmp.Or(c.scope.Units.Or(unit.Metric).Of(kind), name)
	v := o.value
	if in != name {
		v = unit.From(base, in)
	}
	out := constantNumber(v)
	out.is = quantity{in: in}
	out.is.powers[kind] = 1
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
