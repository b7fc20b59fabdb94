package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/english"
)

// Two baselines that match one component give two answers to one question. Which
// of them is the more specific is never guessed: one says `over: other`, or both
// are refused, with a vehicle that both match. A task or a rule that says
// `over: other` takes the other's place wherever both match.

// exampleWork bounds the vehicles that are tried for all pairs of a book, so that
// a book of very many baselines is still checked in linear time.
const exampleWork = 200_000

// claim is what may go before others of its kind: a baseline, a task, a rule.
type claim struct {
	kind, name   string
	perComponent bool
	names        []string  // as written
	over         *[]string // the same and, after passOn, all that these go over
	at           overAt
}

// overs checks which baselines, tasks and rules go before which others, puts the
// baselines in order, those that go before others first, and refuses pairs of
// baselines that can both match. Tasks and rules have names of their own, so that
// two of them never answer one question unless they say so.
func (l *loader) overs() {
	byName := map[string]*Baseline{}
	slices.SortFunc(l.book.Baselines, func(a, b *Baseline) int { return strings.Compare(a.Name, b.Name) })
	var baselines, tasks, rules []claim
	for _, b := range l.book.Baselines {
		byName[b.Name] = b
		baselines = append(baselines, claim{"baseline", b.Name, true, b.Over, &b.Over, b.over})
	}
	for _, t := range l.book.Tasks {
		tasks = append(tasks, claim{"task", t.Name, t.PerComponent, t.Over, &t.Over, t.over})
	}
	for _, r := range l.book.Rules {
		rules = append(rules, claim{"rule", r.Name, r.PerComponent, r.Over, &r.Over, r.over})
	}
	l.inOrder(tasks)
	l.inOrder(rules)
	ordered := l.inOrder(baselines)
	if len(l.faults) > 0 {
		return // a condition or a name is missing
	}
	for i, c := range ordered {
		l.book.Baselines[i] = byName[c.name]
	}
	l.bothMatch()
}

// inOrder checks the names after `over` and puts each claim before those that it
// goes over; it complains where they go in a circle.
func (l *loader) inOrder(claims []claim) []claim {
	byName := map[string]*claim{}
	for i := range claims {
		byName[claims[i].name] = &claims[i]
	}
	names := slices.Sorted(maps.Keys(byName))
	const open, closed = 1, 2
	mark := map[string]int{}
	var out []claim
	var visit func(c *claim)
	visit = func(c *claim) {
		mark[c.name] = open
		for i, name := range c.names {
			at := c.at.items[i]
			switch {
			case name == c.name:
				c.at.d.fault(at, "", "%s %q goes before itself", c.kind, name)
			case byName[name] == nil:
				c.at.d.fault(at, l.didYouMean(name, names, "name another "+c.kind+" of the book"), "there is no %s %q", c.kind, name)
			case mark[name] == open:
				c.at.d.fault(at, "leave one of them out", "%s %q goes before %q, which goes before it", c.kind, c.name, name)
			case mark[name] == 0:
				visit(byName[name])
			}
		}
		mark[c.name] = closed
		out = append(out, *c)
	}
	for i := range slices.Backward(claims) {
		if mark[claims[i].name] == 0 {
			visit(&claims[i])
		}
	}
	slices.Reverse(out)
	l.passOn(out, byName)
	return out
}

// passOn lets each claim know of all that it goes over, by way of others too.
func (l *loader) passOn(order []claim, byName map[string]*claim) {
	for _, c := range slices.Backward(order) {
		for i, name := range c.names {
			if other := byName[name]; other != nil {
				*c.over = joined(*c.over, *other.over)
				l.sameKeeping(c, i, other)
			}
		}
	}
}

// sameKeeping complains of one that is kept for each component and goes over one
// that is kept once a vehicle, or the other way: they are never in one place.
func (l *loader) sameKeeping(c claim, i int, other *claim) {
	if c.perComponent == other.perComponent {
		return
	}
	kept := map[bool]string{true: "for each component", false: "once a vehicle"}
	c.at.d.fault(c.at.items[i], "let both read `component`, or neither",
		"%s %q is kept %s, and %q, over which it goes, %s", c.kind, c.name, kept[c.perComponent], other.name, kept[other.perComponent])
}

// joined adds to a list the names that it lacks.
func joined(list, more []string) []string {
	out := slices.Clone(list)
	for _, name := range more {
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// bothMatch refuses pairs of baselines of which neither goes before the other,
// where a vehicle is found that both match.
func (l *loader) bothMatch() {
	list := l.book.Baselines
	x := examples{j: NewJudge(l.book), left: exampleWork}
	named := make([]comparands, len(list))
	for i, b := range list {
		named[i] = l.comparands(b.Where)
	}
	for i, a := range list {
		for k, b := range list[i+1:] {
			if x.left <= 0 {
				return
			}
			x.left--
			if slices.Contains(a.Over, b.Name) {
				continue
			}
			if v, c, found := x.find(a.Where, b.Where, named[i], named[i+1+k]); found {
				first, second := a, b
				if comparePlaces(a.At, b.At) > 0 {
					first, second = b, a
				}
				second.over.d.fault(second.over.key, fmt.Sprintf("narrow a `where`, or write `over: %s` in the one that goes first", first.Name),
					"baselines %q (%s) and %q both match %s", first.Name, first.At, second.Name, exampleText(v, c))
			}
		}
	}
}

// examples looks for vehicles that two conditions both match, among those whose
// fields have the values that the conditions compare them with.
type examples struct {
	j    *Judge
	left int // of the work
}

// find tries every combination of the values that either condition names, and one
// that neither names, for each field that they read.
func (x *examples) find(a, b *Condition, inA, inB comparands) (Vehicle, Component, bool) {
	both := comparands{fields: map[string][]string{}, numbers: []float64{0}}
	for _, c := range []comparands{inA, inB} {
		for f, values := range c.fields {
			both.add(f, values)
		}
		both.numbers = append(both.numbers, c.numbers...)
	}
	v := Vehicle{Name: "any", Kind: "any", Tags: map[string]string{}}
	comp := Component{Name: "any", Kind: "any", Fluid: "any"}
	return x.each(slices.Sorted(maps.Keys(both.fields)), both.fields, both.numbers, v, comp, func(v *Vehicle, c *Component) bool {
		x.left--
		one, err1 := x.j.Matches(a, v, c)
		two, err2 := x.j.Matches(b, v, c)
		return one && two && err1 == nil && err2 == nil
	})
}

// each gives the combinations of values, until one is right or the work is done.
func (x *examples) each(fields []string, values map[string][]string, numbers []float64, v Vehicle, c Component, right func(*Vehicle, *Component) bool) (Vehicle, Component, bool) {
	if len(fields) == 0 {
		for _, n := range numbers {
			if c.Capacity = n; x.left > 0 && right(&v, &c) {
				return v, c, true
			}
		}
		return v, c, false
	}
	for _, value := range append([]string{"any"}, values[fields[0]]...) {
		setField(&v, &c, fields[0], value)
		if x.left <= 0 {
			break
		}
		if v, c, ok := x.each(fields[1:], values, numbers, v, c, right); ok {
			return v, c, true
		}
	}
	return v, c, false
}

func setField(v *Vehicle, c *Component, field, value string) {
	switch field {
	case "vehicle.name":
		v.Name = value
	case "vehicle.kind":
		v.Kind = value
	case "component.name":
		c.Name = value
	case "component.kind":
		c.Kind = value
	case "component.fluid":
		c.Fluid = value
	default:
		v.Tags = maps.Clone(v.Tags)
		v.Tags[strings.TrimPrefix(field, "vehicle.tags.")] = value
	}
}

func exampleText(v Vehicle, c Component) string {
	var parts []string
	add := func(format, value string) {
		if value != "any" && value != "" {
			parts = append(parts, fmt.Sprintf(format, value))
		}
	}
	add("called %q", v.Name)
	add("of kind %q", v.Kind)
	for _, name := range slices.Sorted(maps.Keys(v.Tags)) {
		add("tagged "+name+" %q", v.Tags[name])
	}
	vehicle := strings.Join(append([]string{"a vehicle"}, parts...), " ")
	parts = nil
	add("called %q", c.Name)
	add("of kind %q", c.Kind)
	add("filled with %q", c.Fluid)
	if c.Capacity > 0 {
		add("that holds %s", english.Number(c.Capacity))
	}
	return vehicle + " with " + strings.Join(append([]string{"a component"}, parts...), " ")
}

// comparands are the texts and numbers with which an expression compares fields.
type comparands struct {
	fields  map[string][]string
	numbers []float64
}

func (l *loader) comparands(c *Condition) comparands {
	s := comparands{fields: map[string][]string{}}
	if c == nil {
		return s
	}
	if n, err := parse(l.parser, c.Text); err == nil {
		ast.Walk(&n, &s)
	}
	return s
}

// Visit looks at each operator: what is read on either side may have any value that
// is named on either side.
func (s *comparands) Visit(n *ast.Node) {
	b, ok := (*n).(*ast.BinaryNode)
	if !ok || slices.Contains([]string{"&&", "||", "and", "or"}, b.Operator) {
		if f, ok := fieldOf(*n); ok {
			s.add(f, nil) // read outside a comparison too
		}
		return
	}
	var in operands
	ast.Walk(n, &in)
	for _, f := range in.fields {
		s.add(f, in.texts)
	}
	for _, v := range in.numbers {
		s.numbers = append(s.numbers, v-1, v, v+1)
	}
}

func (s *comparands) add(field string, texts []string) {
	list := s.fields[field]
	for _, t := range texts {
		if !slices.Contains(list, t) {
			list = append(slices.Clip(list), t)
		}
	}
	s.fields[field] = list
}

// operands are the fields, texts and numbers within one comparison.
type operands struct {
	fields, texts []string
	numbers       []float64
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
