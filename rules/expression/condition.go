// Package expression compiles the expressions of rule files to functions and runs them.
// They are written in the syntax of expr and checked here: names, kinds and arguments,
// with every fault in its place. A run has three outcomes, since what is missing or not
// finite is never taken for an answer: what the expression gives, what is missing, and,
// of results below their limits, what it gives for either end. Every run ends: there are
// no loops. It can tell the operands behind an outcome, and find a vehicle that two
// conditions both match. It is pure.
package expression

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"gopkg.in/yaml.v3"

	"telltale/rules/analytes"
	"telltale/rules/expression/quantity"
	"telltale/rules/expression/slip"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Language is what the expressions of one book may speak of. It is filled in while the
// book is read, and what an expression speaks of must be there when it is compiled.
type Language struct {
	Tasks []string // all names, sorted
	Rules []string // likewise
	// Mean, Spread and Fresh are the analytes of which some baseline says that much;
	// of a baseline that is made from the fleet nobody knows what it will say.
	Mean, Spread, Fresh map[string]bool
	Fleet               bool
	Measures            map[string]string // what is measured by hand, with its unit
	// Questions are what is not wrong with the expressions but deserves a second look.
	Questions []source.Fault

	parser *conf.Config
	units  map[unit.System]*unit.System // that files speak, one of each
	asked  map[string]bool              // files that were asked for a unit
	shared map[written]*Shared
}

// NewLanguage returns a language in which there is nothing to speak of yet. It disables
// everything built into the parser's language: a rule has the words and functions of
// the reference and no others. Predicates over lists cannot be disabled there;
// compiling refuses them.
func NewLanguage() *Language {
	c := conf.CreateNew()
	for name := range c.Builtins {
		c.Disabled[name] = true
	}
	return &Language{Mean: map[string]bool{}, Spread: map[string]bool{}, Fresh: map[string]bool{}, Measures: map[string]string{}, parser: c, shared: map[written]*Shared{},
		units: map[unit.System]*unit.System{}, asked: map[string]bool{}}
}

// spoken is one copy of the units for all that is asked in them.
func (l *Language) spoken(u unit.System) *unit.System {
	if l.units[u] == nil {
		l.units[u] = &u
	}
	return l.units[u]
}

// MeasureNames are the names of what is measured by hand, sorted.
func (l *Language) MeasureNames() []string { return slices.Sorted(maps.Keys(l.Measures)) }

// Condition is one checked and compiled expression of a rule file. It is
// immutable; a [Runner] runs it.
type Condition struct {
	Text           string
	At             source.Place
	ReadsComponent bool
	Fields         []string // that it reads, as [word.Field] knows them or component.capacity, each as often
	Named          Named

	asks     *Asks
	node     ast.Node // as it was parsed
	value    operand
	lets     int  // how many `let` names it binds
	measures bool // it speaks of `measure`
	shape
	compares comparands
	shared   *Shared
}

// AsksFacts reports whether the condition asks anything of the meters, samples or
// the schedule, and not only of what the register says.
func (c *Condition) AsksFacts() bool { return len(c.asks.list) > 0 }

// Asks are the questions that the condition shares with others.
func (c *Condition) Asks() *Asks { return c.asks }

// Constant is the number that the condition always gives; ok is false where it gives
// another each time.
func (c *Condition) Constant() (v float64, ok bool) { return c.value.value, c.value.constant }

// In is the unit of the number that the condition gives, where people may read it in
// another: "km", "mg/kg per 1,000 mi"; else "".
func (c *Condition) In() string {
	for _, k := range []unit.Kind{unit.Distance, unit.Volume, unit.Temperature, unit.Pressure} {
		if is := c.value.is; is.Powers[k] != 0 && !is.Difference {
			return is.In
		}
	}
	return ""
}

// Measures is what the number that the condition gives measures, in words: "a distance";
// "" for a ratio, and for a number that is written out.
func (c *Condition) Measures() string {
	if is := c.value.is; !is.Bare && is.Powers != quantity.Ratio {
		return is.String()
	}
	return ""
}

// Alone is the kind of quantity that the condition gives, and its unit in the file; ok is
// false for a ratio, and for what is given for each of another quantity.
func (c *Condition) Alone() (k unit.Kind, in string, ok bool) {
	k, ok = c.value.is.Only()
	return k, c.value.is.In, ok
}

// The most that one expression may have.
const (
	conditionLimit = 4 << 10 // bytes
	stepLimit      = 2000    // parts, counting shared ones each time
)

// Asks are the questions to Facts that the conditions of one rule share, each once.
// The zero value has none.
type Asks struct {
	list []question
	// Sample is the first question about a component's fluid, a fault where there is no
	// component; nil where none is asked.
	Sample *source.Fault
}

// question is one word with its argument.
type question struct {
	info  *word.Info
	arg   string
	times float64      // from base units: times this,
	over  float64      // divided by this,
	plus  float64      // plus this
	least float64      // that the answer could be
	of    string       // as evidence shows it
	reads []string     // the analytes of which it looks at the sample's result
	units *unit.System // that the file speaks; "" where it does not say
	// measured: it is asked of a measure, of which this is the unit.
	measured bool
	unit     string
}

// add gives the number of a question to the facts, each once for each unit of its answer.
func (a *Asks) add(info *word.Info, arg string, u *unit.System, measures map[string]string) int {
	q := question{info: info, arg: arg, of: info.Asked(arg), reads: info.Reads(arg), units: u, least: leastOf(info.Word, arg)}
	if info.Of == word.Analyte {
		q.unit, q.measured = measures[arg]
	}
	q.times, q.over, q.plus = info.Scale(*u, q.own())
	i := slices.IndexFunc(a.list, func(o question) bool {
		return o.info == info && o.arg == arg && o.times == q.times && o.over == q.over && o.plus == q.plus
	})
	if i < 0 {
		i = len(a.list)
		a.list = append(a.list, q)
	}
	return i
}

// own is the unit of the analyte, or the measure, that is asked for.
func (q *question) own() string {
	if q.measured || q.info.Of != word.Analyte {
		return q.unit
	}
	analyte, _ := word.Elsewhere(q.arg)
	return analytes.UnitOf(analyte)
}

// Measures lists the measures that are asked for, sorted.
func (a *Asks) Measures() []string {
	var out []string
	for _, q := range a.list {
		if q.measured {
			out = append(out, q.arg)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// asked reports whether the word is asked of the argument so far.
func (a *Asks) asked(w word.Word, arg string) bool {
	return slices.ContainsFunc(a.list, func(q question) bool { return q.info.Word == w && q.arg == arg })
}

// Arguments lists what the word is asked of (analytes, tasks, grades), sorted; for
// [word.None] what any word is.
func (a *Asks) Arguments(w word.Word) []string {
	var out []string
	for _, q := range a.list {
		_, elsewhere := word.Elsewhere(q.arg)
		if of, _, _ := strings.Cut(q.arg, " "); elsewhere == "" && (w == word.None || q.info.Word == w) {
			if q.info.Of != word.Target {
				of = q.arg
			}
			out = append(out, of)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Elsewhere lists the other components that words are asked of, sorted.
func (a *Asks) Elsewhere() []string {
	var out []string
	for _, q := range a.list {
		if _, component := word.Elsewhere(q.arg); component != "" {
			out = append(out, component)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Scope says what an expression may use.
type Scope struct {
	What    string      // in error texts: `measure of rule "x"`
	Want    Kind        // what it must give; Any: number, text or truth
	Words   bool        // words may be asked
	Rules   bool        // also of other rules
	Measure bool        // `measure` is known
	Stage   bool        // `stage` is known
	Of      *Condition  // the measure of the rule; nil where there is none
	Units   unit.System // that the file speaks; "" where it does not say
	And     *Condition  // what must hold as well; nil for nothing more
}

// Condition reads a scalar as an expression. It is nil where n is, or where there was a
// fault. Where n is nil, what must hold as well is all.
func (l *Language) Condition(d *source.Document, n *yaml.Node, sc Scope, a *Asks) *Condition {
	if n == nil {
		return sc.And
	}
	if n.Kind != yaml.ScalarNode {
		d.Fault(n, "an expression that begins with `{` or `[` must be quoted", "%s must be an expression, not %s", sc.What, source.KindName(n))
		return nil
	}
	if n.Style == 0 && (n.Tag == "!!int" || n.Tag == "!!float") {
		if _, ok := d.Number(n, sc.What); !ok {
			return nil
		}
	}
	return l.compile(newExcerpt(d, n, n.Value), sc, a)
}

// compile parses and compiles one expression that stands at src.
func (l *Language) compile(src excerpt, sc Scope, a *Asks) *Condition {
	if len(src.text) > conditionLimit {
		src.fault(0, 1, "split the rule", "%s has more than %d characters", sc.What, conditionLimit)
		return nil
	}
	if strings.TrimSpace(src.text) == "" {
		src.fault(0, 1, "", "%s is empty", sc.What)
		return nil
	}
	w, questions := l.written(src.text, sc, a), len(l.Questions)
	if before := l.shared[w]; before != nil {
		return l.again(before, src, sc, a)
	}
	src, node, ok := l.parsed(src, sc)
	if node == nil {
		return nil
	}
	c := &compiler{src: src, scope: sc, asks: a, l: l}
	value := c.compile(node)
	if !c.failed {
		c.wants(value, node)
		value = c.likeMeasure(value, node)
	}
	if c.failed || !ok {
		return nil
	}
	text, named := src.text, namedIn(node).placed(src)
	if sc.And != nil {
		node, text, named = &ast.BinaryNode{Operator: "&&", Left: sc.And.node, Right: node}, "("+sc.And.Text+") && ("+text+")", sc.And.Named.and(named)
		both := &compiler{src: src, scope: sc, asks: a, l: l} // of two that have no faults
		value = both.compile(node)
		c.component, c.fields, c.maxLets = both.component, both.fields, both.maxLets
	}
	out := &Condition{Text: text, node: node, At: src.d.Place(src.n), ReadsComponent: c.component, Fields: c.fields, Named: named, asks: a, value: value, lets: c.maxLets,
		measures: c.measures, shape: shapeOf(node)}
	if sc.Words {
		out.Named.Where = nil
	} else {
		out.compares = comparandsOf(node, sc.Units)
		out.compares.parts = c.parted(node)
	}
	if sc.Words && len(l.Questions) == questions { // a `where` and a question stand in their places
		l.keep(w, c, out)
	}
	l.askUnits(src, c.unsaid)
	return out
}

// parsed parses an expression, as it was meant where slips are known; ok is false where
// there were any, and node nil where that does not help.
func (l *Language) parsed(src excerpt, sc Scope) (_ excerpt, node ast.Node, ok bool) {
	node, err := l.parse(src.text)
	for ok = err == nil; err != nil; {
		s, found := slip.In(src.text, sc.Units.Or(unit.Metric))
		if src.at == nil && src.cutOff(err) || !found || *src.left <= 0 {
			src.syntax(err, sc)
			return src, nil, false
		}
		src = src.mended(s, sc)
		if s.Guess {
			return src, nil, false
		}
		node, err = l.parse(src.text)
	}
	return src, node, ok
}

// parse turns a panic of the parser into an error.
func (l *Language) parse(text string) (n ast.Node, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = &file.Error{Message: fmt.Sprint(r)}
		}
	}()
	tree, err := parser.ParseWithConfig(text, l.parser)
	if err != nil {
		return nil, err
	}
	return tree.Node, nil
}
