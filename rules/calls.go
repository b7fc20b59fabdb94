package rules

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/analytes"
)

// field readers of vehicle and component. A missing text is "".
var vehicleFields = map[string]func(*Vehicle) string{
	"name": func(v *Vehicle) string { return v.Name },
	"kind": func(v *Vehicle) string { return v.Kind },
}

var componentFields = map[string]func(*Component) string{
	"name":  func(c *Component) string { return c.Name },
	"kind":  func(c *Component) string { return c.Kind },
	"fluid": func(c *Component) string { return c.Fluid },
}

func fieldNames(k kind) []string {
	switch k {
	case vehicle:
		return []string{"name", "kind", "tags"}
	case component:
		return []string{"name", "kind", "fluid", "capacity"}
	}
	return []string{`tags["name"]`}
}

// member compiles vehicle.kind, vehicle.tags["road"], component.fluid.
func (c *compiler) member(n *ast.MemberNode, known guard) operand {
	of := c.compile(n.Node, known)
	if of.kind == anyKind {
		return of
	}
	if n.Optional || n.Method {
		return c.fault(n, "", "this is not part of the rule language")
	}
	if of.kind < vehicle {
		return c.fault(n.Property, "", "%s has no fields", of.kind)
	}
	key, ok := n.Property.(*ast.StringNode)
	if !ok {
		return c.fault(n.Property, "", "the name of a field or tag must be written out in quotes")
	}
	return c.fieldOf(of.kind, key)
}

func (c *compiler) fieldOf(k kind, key *ast.StringNode) operand {
	name := key.Value
	if k == tags || name != "tags" {
		c.reads = append(c.reads, fieldRead{k, name})
	}
	switch {
	case k == tags:
		return operand{kind: text, word: true, text: func(s *state) string { return s.vehicle.Tags[name] }}
	case k == vehicle && name == "tags":
		return operand{kind: tags, word: true}
	case k == component && name == "capacity":
		return operand{kind: number, word: true, num: capacity}
	case k == vehicle && vehicleFields[name] != nil:
		read := vehicleFields[name]
		return operand{kind: text, word: true, text: func(s *state) string { return read(s.vehicle) }}
	case k == component && componentFields[name] != nil:
		read := componentFields[name]
		return operand{kind: text, word: true, text: func(s *state) string {
			if s.comp == nil {
				return ""
			}
			return read(s.comp)
		}}
	}
	known := fieldNames(k)
	return c.fault(key, c.l.didYouMean(name, known, "known: "+strings.Join(known, ", ")), "%s has no field `%s`", k, name)
}

// capacity is missing where it is 0: an unknown amount is not none.
func capacity(s *state) float64 {
	if s.comp == nil || s.comp.Capacity == 0 {
		s.miss("the component's capacity")
		return 0
	}
	if s.record != nil {
		s.recordOnce(Evidence{Of: "component.capacity", Value: s.comp.Capacity, Unit: s.units.Volume})
	}
	return s.comp.Capacity
}

// call compiles a word or a function.
func (c *compiler) call(n *ast.CallNode, known guard) operand {
	name, ok := n.Callee.(*ast.IdentifierNode)
	if !ok {
		if m, isMember := n.Callee.(*ast.MemberNode); isMember && c.compile(m.Node, known).kind == anyKind {
			return operand{}
		}
		return c.fault(n, "words and functions are called by their names alone", "this is not part of the rule language")
	}
	if info := wordByName[name.Value]; info != nil {
		return c.word(n, info, known)
	}
	if f := functions[name.Value]; f.compile != nil {
		return c.function(n, name.Value, f, known)
	}
	for _, a := range n.Arguments {
		c.compile(a, known)
	}
	if name.Value == "now" || name.Value == "date" {
		return c.fault(n, "the time is that of the event; ask daysSince(…) or daysToDue(…)", "there is no clock in rules")
	}
	return c.fault(name, c.l.didYouMean(name.Value, c.names()[2:], "what a rule may ask is listed by the words reference"), "unknown function `%s`", name.Value)
}

// word compiles a question to the facts.
func (c *compiler) word(n *ast.CallNode, info *WordInfo, known guard) operand {
	if !c.scope.words {
		return c.fault(n, "`where` reads vehicle and component alone, so that it is known beforehand what applies to whom",
			"%s cannot ask %s", c.scope.what, info.Name)
	}
	arg, ok := c.argument(n, info)
	if !ok {
		return operand{}
	}
	of, _, _ := strings.Cut(arg, " ")
	guarded := info.word == WordHas || info.word == WordHasEarlier || (info.arg == analyte || info.arg == target) && known[of]
	if info.sample && c.asks.sample == nil {
		from, to := span(n)
		f := c.src.makeFault(from, to, "add `on: sample`, or a `where` that reads component", c.scope.what+" asks "+info.Name+" of no component")
		c.asks.sample = &f
	}
	if info.word == WordKept && !c.l.freshOf[arg] {
		from, to := span(n)
		c.l.book.Questions = append(c.l.book.Questions, c.src.makeFault(from, to, "add "+arg+" to the `fresh` of a baseline",
			"no baseline says how much "+arg+" fresh fluid contains, so kept cannot be judged"))
	}
	i := c.asks.add(info, arg, !guarded, c.l.book.Units)
	if info.truth {
		return operand{kind: truth, word: true, truth: func(s *state) bool { return s.ask(i) != 0 }}
	}
	out := operand{kind: number, word: true, num: func(s *state) float64 { return s.ask(i) }}
	if info.word == WordValue {
		out.censors = arg
	}
	return out
}

// argument checks the argument of a word: written out, and known.
func (c *compiler) argument(n *ast.CallNode, info *WordInfo) (string, bool) {
	if info.arg == nothing {
		if len(n.Arguments) > 0 {
			c.fault(n.Arguments[0], "write "+info.Name+"()", "%s takes no argument", info.Name)
		}
		return "", len(n.Arguments) == 0
	}
	if info.arg == target {
		return c.target(n, info)
	}
	example := info.Name + map[argument]string{analyte: `("Cu")`, task: `("name of a task")`, grade: `("SAE 5W-30")`}[info.arg]
	if len(n.Arguments) != 1 {
		c.fault(n, "write "+example, "%s takes one argument, not %d", info.Name, len(n.Arguments))
		return "", false
	}
	s, ok := n.Arguments[0].(*ast.StringNode)
	if !ok {
		if id, isName := n.Arguments[0].(*ast.IdentifierNode); isName {
			example = info.Name + `("` + id.Value + `")`
		}
		c.fault(n.Arguments[0], "write "+example, "the argument of %s must be written out in quotes", info.Name)
		return "", false
	}
	switch {
	case info.arg == task:
		return s.Value, c.knownTask(s)
	case info.arg == grade && !gradeForm.MatchString(s.Value):
		c.fault(s, `write "SAE 30", "SAE 5W-30" or "ISO VG 46"`, "%q is no grade of viscosity", s.Value)
		return "", false
	case info.arg == grade:
		return s.Value, true
	}
	return s.Value, c.knownAnalyte(s, info)
}

// gradeForm is how grades of SAE J300 and ISO 3448 are written.
var gradeForm = regexp.MustCompile(`^(SAE [0-9]{1,2}(W(-[0-9]{1,2})?)?|ISO VG [0-9]+(\.[0-9])?)$`)

// target checks an analyte and a number, both written out; they are asked for as
// one text.
func (c *compiler) target(n *ast.CallNode, info *WordInfo) (string, bool) {
	if len(n.Arguments) != 2 {
		c.fault(n, "write "+info.Name+`("Na", 15)`, "%s takes two arguments, not %d", info.Name, len(n.Arguments))
		return "", false
	}
	s, ok := n.Arguments[0].(*ast.StringNode)
	if !ok {
		c.fault(n.Arguments[0], "write "+info.Name+`("Na", 15)`, "the argument of %s must be written out in quotes", info.Name)
		return "", false
	}
	v := c.compile(n.Arguments[1], nil)
	if v.kind != anyKind && (v.kind != number || !v.constant || v.value < 0) {
		c.fault(n.Arguments[1], "write "+info.Name+`("Na", 15)`, "the target of %s must be a number from 0, written out", info.Name)
		return "", false
	}
	return s.Value + " " + strconv.FormatFloat(v.value, 'f', -1, 64), v.kind == number && c.knownAnalyte(s, info)
}

func (c *compiler) knownTask(s *ast.StringNode) bool {
	if _, ok := c.l.taskAt[s.Value]; ok {
		return true
	}
	c.fault(s, c.l.didYouMean(s.Value, c.l.taskNames(), "the book has no such task"), "unknown task %q", s.Value)
	return false
}

func (c *compiler) knownAnalyte(s *ast.StringNode, info *WordInfo) bool {
	if !analytes.Known(s.Value) {
		c.fault(s, analyteHint(c.l, s.Value), "unknown analyte %q", s.Value)
		return false
	}
	if info.word == WordPercentile && !c.l.fleet {
		c.fault(s, "add `from: fleet` to a baseline", "no baseline is made from the fleet's samples, so nothing has a place among them")
		return false
	}
	if info.word == WordDeviations && !c.l.spreads[s.Value] && !c.l.fleet {
		c.fault(s, "add "+s.Value+" to the `spread` of a baseline", "no baseline has a spread of %q", s.Value)
		return false
	}
	if (info.word == WordTimes || info.word == WordTimesForAge) && !c.l.means[s.Value] && !c.l.fleet {
		c.fault(s, "add "+s.Value+" to the `mean` of a baseline", "no baseline has a mean for %q", s.Value)
		return false
	}
	return true
}

func analyteHint(l *loader, name string) string {
	for _, a := range analytes.Names() {
		if strings.EqualFold(a, name) {
			return "did you mean `" + a + "`?"
		}
	}
	if len(name) < 3 {
		return "analytes are element symbols, and " + strings.Join(propertyNames(), " ")
	}
	return l.didYouMean(name, propertyNames(), "analytes are element symbols, and "+strings.Join(propertyNames(), " "))
}

// propertyNames are the analytes that are not elements.
func propertyNames() []string {
	return slices.DeleteFunc(analytes.Names(), func(name string) bool { return analytes.UnitOf(name) == "mg/kg" })
}

// function is one of the few functions of numbers and texts.
type function struct {
	signature, meaning string
	least, most        int // arguments
	compile            func(c *compiler, n *ast.CallNode, args []operand) operand
}

var functionNames = []string{"abs", "ceil", "floor", "lower", "max", "min", "round"}

var functions = map[string]function{
	"abs":   {"abs(x) number", "x without its sign", 1, 1, ofNumber(math.Abs)},
	"ceil":  {"ceil(x) number", "the least whole number not under x", 1, 1, ofNumber(math.Ceil)},
	"floor": {"floor(x) number", "the greatest whole number not over x", 1, 1, ofNumber(math.Floor)},
	"max":   {"max(x, y, …) number", "the greatest of the numbers", 2, 16, ofNumbers(math.Max)},
	"min":   {"min(x, y, …) number", "the least of the numbers", 2, 16, ofNumbers(math.Min)},
	"round": {"round(x, n) number", "x rounded to n decimals (none if n is left out), halves away from zero", 1, 2, rounding},
	"lower": {"lower(s) text", "s in lower case", 1, 1, lowering},
}

func (c *compiler) function(n *ast.CallNode, name string, f function, known guard) operand {
	args := make([]operand, len(n.Arguments))
	for i, a := range n.Arguments {
		args[i] = c.compile(a, known)
	}
	if len(args) < f.least || len(args) > f.most {
		return c.fault(n, "it is "+f.signature, "%s does not take %d arguments", name, len(args))
	}
	want := number
	if name == "lower" {
		want = text
	}
	for i := range args {
		args[i] = c.needs(n.Arguments[i], args[i], want, name)
	}
	if slices.ContainsFunc(args, func(o operand) bool { return o.kind == anyKind }) {
		return operand{}
	}
	return f.compile(c, n, args)
}

func ofNumber(f func(float64) float64) func(*compiler, *ast.CallNode, []operand) operand {
	return func(_ *compiler, _ *ast.CallNode, args []operand) operand {
		x := args[0].num
		return operand{kind: number, num: func(s *state) float64 { return f(x(s)) }}
	}
}

func ofNumbers(f func(a, b float64) float64) func(*compiler, *ast.CallNode, []operand) operand {
	return func(_ *compiler, _ *ast.CallNode, args []operand) operand {
		return operand{kind: number, num: func(s *state) float64 {
			v := args[0].num(s)
			for _, a := range args[1:] {
				v = f(v, a.num(s))
			}
			return v
		}}
	}
}

func rounding(c *compiler, n *ast.CallNode, args []operand) operand {
	x, decimals := args[0].num, 0
	if len(args) == 2 {
		d := args[1]
		if !d.constant || d.value != math.Trunc(d.value) || math.Abs(d.value) > 9 {
			return c.fault(n.Arguments[1], "write round(x, 1)", "the decimals of round must be a whole number from -9 to 9, written out")
		}
		decimals = int(d.value)
	}
	return operand{kind: number, num: func(s *state) float64 { return round(x(s), decimals) }}
}

func lowering(_ *compiler, _ *ast.CallNode, args []operand) operand {
	x := args[0].text
	return operand{kind: text, text: func(s *state) string { return strings.ToLower(x(s)) }}
}
