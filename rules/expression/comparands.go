package expression

import (
	"regexp"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/expression/witness"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// comparands are what an expression compares the fields of the register with.
type comparands struct {
	fields  map[string]*compared
	pairs   []pair    // of fields with fields
	numbers []float64 // capacities in litres: those that are named, and beside them
	units   unit.System
	// plain: it only asks whether fields are equal to texts that it names, so that what
	// none of those texts brings about no text does.
	plain bool
	parts []*Condition // that are all to hold, one by one
}

// compared is what one field is compared with.
type compared struct {
	texts []string
	tests []string // RE2 patterns that decide, as far as the field alone does
	open  bool     // a test takes more texts than it names
	loose bool     // something else of it is asked too, as whether it is another field's text
}

// pair is a field that is compared with a field.
type pair struct{ left, operator, right string }

func comparandsOf(n ast.Node, u unit.System) comparands {
	s := comparands{fields: map[string]*compared{}, plain: true, units: u}
	ast.Walk(&n, &s)
	return s
}

func (s *comparands) of(field string) *compared {
	if s.fields[field] == nil {
		s.fields[field] = &compared{}
	}
	return s.fields[field]
}

// Visit looks at each operator: what is read on either side may have any value that
// is named on either side.
func (s *comparands) Visit(n *ast.Node) {
	s.plain = s.plain && plain(*n)
	b, ok := (*n).(*ast.BinaryNode)
	if !ok || slices.Contains([]string{"&&", "||", "and", "or"}, b.Operator) {
		if f, ok := fieldOf(*n); ok {
			s.of(f) // read outside a comparison too
		}
		return
	}
	left, isField := fieldOf(b.Left)
	right, both := fieldOf(b.Right)
	in := operands{volume: s.units.Or(unit.Metric).Volume}
	ast.Walk(n, &in)
	for _, f := range in.fields {
		c := s.of(f)
		if !isField || f != left || !c.test(f, b.Operator, b.Right) {
			c.loose = true
		}
		c.texts = joined(c.texts, in.texts)
	}
	for _, v := range in.numbers {
		for _, near := range []float64{v - 1, v, v + 1} {
			litres, _, _ := unit.Base(near, in.volume)
			s.numbers = joined(s.numbers, []float64{litres})
		}
	}
	if isField && both {
		s.pairs = append(s.pairs, pair{left, b.Operator, right})
	}
}

// test adds what the operator asks of the field, where that is a text written out.
func (c *compared) test(field, operator string, right ast.Node) bool {
	var texts []string
	switch t := right.(type) {
	case *ast.StringNode:
		texts = []string{t.Value}
	case *ast.ArrayNode:
		for _, n := range t.Nodes {
			if s, ok := n.(*ast.StringNode); ok {
				texts = append(texts, s.Value)
			}
		}
	default:
		return false
	}
	c.open = c.open || operator != "==" && operator != "!=" && operator != "in"
	for _, t := range texts {
		c.tests = joined(c.tests, []string{asPattern(field, operator, t)})
	}
	return true
}

// asPattern writes as a pattern what the operator asks of a field.
func asPattern(field, operator, text string) string {
	quoted := regexp.QuoteMeta(text)
	switch operator {
	case "matches":
		return text
	case "startsWith":
		return "^" + quoted
	case "endsWith":
		return quoted + "$"
	case "contains":
		return quoted
	}
	names := []string{text}
	if word.HasNames(field) {
		names = slices.Clone(word.Names(text)) // theirs belongs to all
	}
	for i, name := range names {
		names[i] = regexp.QuoteMeta(name)
	}
	return "^(?:" + strings.Join(names, "|") + ")$"
}

// join adds what another expression compares with. What a field is compared with its
// neighbour may be too.
func (s *comparands) join(o *comparands) {
	for name, f := range o.fields {
		c := s.of(name)
		c.texts, c.tests, c.open, c.loose = joined(c.texts, f.texts), joined(c.tests, f.tests), c.open || f.open, c.loose || f.loose
	}
	s.units = s.units.Or(o.units)
	s.pairs, s.numbers, s.parts = append(s.pairs, o.pairs...), joined(s.numbers, o.numbers), append(s.parts, o.parts...)
}

// neighbours has fields that are compared with each other share their texts: once for each
// pair, since one may lead to the next.
func (s *comparands) neighbours() {
	for range s.pairs {
		for _, p := range s.pairs {
			l, r := s.of(p.left), s.of(p.right)
			for _, t := range r.texts {
				l.tests = joined(l.tests, []string{asPattern("", p.operator, t)})
			}
			l.tests, r.tests = joined(l.tests, r.tests), joined(r.tests, l.tests)
			l.texts, r.texts = joined(l.texts, r.texts), joined(r.texts, l.texts)
		}
	}
}

// joined adds to a list what it lacks.
func joined[T comparable](list, more []T) []T {
	out := slices.Clip(list)
	for _, t := range more {
		if !slices.Contains(out, t) {
			out = append(out, t)
		}
	}
	return out
}

// conjuncts are the parts of a condition that are all to hold.
func conjuncts(n ast.Node) []ast.Node {
	if b, ok := n.(*ast.BinaryNode); ok && (b.Operator == "&&" || b.Operator == "and") {
		return append(conjuncts(b.Left), conjuncts(b.Right)...)
	}
	return []ast.Node{n}
}

// parted compiles the parts of a checked condition one by one, so that a search can give up
// as soon as one of them does not hold.
func (c *compiler) parted(n ast.Node) (out []*Condition) {
	for _, part := range conjuncts(n) {
		p := &compiler{src: c.src, scope: c.scope, asks: c.asks, l: c.l}
		value := p.compile(part)
		out = append(out, &Condition{ReadsComponent: p.component, Fields: p.fields, asks: c.asks, value: value, lets: p.maxLets})
	}
	return out
}

// anyText stands for a text that no condition names, otherText for another such.
const anyText, otherText = "any", "other"

// values are the texts that the conditions tell apart: those that they name, and where more
// is asked than whether it is one of them, one for each way in which the tests come out.
func (c *compared) values() []string {
	named := append([]string{anyText}, c.texts...)
	if c.loose {
		named = joined(named, []string{otherText})
	}
	if !c.open {
		return named
	}
	tests := witness.Compile(c.tests)
	if c.loose {
		return joined(named, tests.Texts(nil))
	}
	seen := map[uint64]bool{}
	var out []string
	for _, t := range named {
		if v := tests.Outcome(t); !seen[v] {
			seen[v] = true
			out = append(out, t)
		}
	}
	return append(out, tests.Texts(seen)...)
}
