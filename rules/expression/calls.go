package expression

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/expr-lang/expr/ast"

	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/expression/bounds"
	"telltale/rules/expression/quantity"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/word"
)

func fieldNames(k Kind) []string {
	switch k {
	case vehicle:
		return []string{"name", "kind", "tags"}
	case component:
		return []string{"name", "kind", "fluid", "capacity"}
	}
	return []string{`tags["name"]`}
}

// member compiles vehicle.kind, vehicle.tags["road"], component.fluid.
func (c *compiler) member(n *ast.MemberNode) operand {
	of := c.compile(n.Node)
	if of.kind == Any {
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

func (c *compiler) fieldOf(k Kind, key *ast.StringNode) operand {
	path := map[Kind]string{vehicle: "vehicle.", component: "component.", tags: "vehicle.tags."}[k] + key.Value
	if path == "vehicle.tags" {
		return operand{kind: tags, word: true}
	}
	c.fields = append(c.fields, path)
	if path == "component.capacity" {
		return c.capacity()
	}
	read := word.Field(path)
	switch {
	case read == nil:
		known := fieldNames(k)
		return c.fault(key, c.src.d.DidYouMean(key.Value, known, "known: "+strings.Join(known, ", ")), "%s has no field `%s`", k, key.Value)
	case k == component:
		return operand{kind: Text, word: true, field: path, text: func(s *Runner) string {
			if s.comp == nil {
				return ""
			}
			return read(nil, s.comp)
		}}
	}
	return operand{kind: Text, word: true, field: path, text: func(s *Runner) string { return read(s.vehicle, nil) }}
}

// capacity is missing where it is 0: an unknown amount is not none.
func (c *compiler) capacity() operand {
	in := c.scope.Units.Or(unit.Metric).Volume
	is := quantity.Quantity{In: in}
	is.Powers[unit.Volume] = 1
	return operand{kind: Number, word: true, is: is, num: func(s *Runner) float64 {
		if s.comp == nil || s.comp.Capacity == 0 {
			s.miss("the component's capacity")
			return 0
		}
		v := unit.From(s.comp.Capacity, in)
		s.Record(word.Evidence{Of: "component.capacity", Value: v, Unit: in})
		return v
	}}
}

// call compiles a word or a function.
func (c *compiler) call(n *ast.CallNode) operand {
	name, ok := n.Callee.(*ast.IdentifierNode)
	if !ok {
		if m, isMember := n.Callee.(*ast.MemberNode); isMember && c.compile(m.Node).kind == Any {
			return operand{}
		}
		return c.fault(n, "words and functions are called by their names alone", "this is not part of the rule language")
	}
	if info := word.Called(name.Value); info != nil {
		return c.word(n, info)
	}
	if f := functions[name.Value]; f.compile != nil {
		return c.function(n, name.Value, f)
	}
	for _, a := range n.Arguments {
		c.compile(a)
	}
	if name.Value == "now" || name.Value == "date" {
		return c.fault(n, "the time is that of the event; ask daysSince(…) or daysToDue(…)", "there is no clock in rules")
	}
	hint := c.src.d.DidYouMean(name.Value, c.names()[2:], "`telltale rules words` lists what a rule may ask")
	if u := unit.Spoken(name.Value); functions[u].compile != nil {
		hint = "write " + u + "(…)"
	}
	hint = cmp.Or(otherNames[name.Value], hint)
	return c.fault(name, hint, "unknown function `%s`", name.Value)
}

// word compiles a question to the facts.
func (c *compiler) word(n *ast.CallNode, info *word.Info) operand {
	if !c.scope.Words {
		return c.fault(n, "`where` reads only vehicle and component, so that it is known in advance what applies to which vehicle",
			"%s cannot ask %s", c.scope.What, info.Name)
	}
	if info.Word == word.PerDay && len(n.Arguments) > 0 {
		info = word.Called(word.HoursPerDay.String())
	}
	arg, ok := c.argument(n, info)
	if !ok {
		return operand{}
	}
	from, to := span(n)
	_, measured := c.l.Measures[arg]
	_, elsewhere := word.Elsewhere(arg)
	if info.Sample && !measured && elsewhere == "" && c.fluid == nil {
		c.fluid = &ofFluid{info, from, to}
		c.asks.ofFluid(c.src, c.scope, *c.fluid)
	}
	if info.Word == word.Kept && !c.l.Fresh[arg] && !c.asks.asked(word.HasFresh, arg) {
		c.l.Questions = append(c.l.Questions, c.src.makeFault(from, to, "add "+arg+" to the `fresh` of a baseline",
			"no baseline says how much "+arg+" fresh fluid contains, so kept cannot be judged"))
	}
	i := c.asks.add(info, arg, c.l.spoken(c.scope.Units), c.l.Measures)
	if info.Truth {
		return operand{kind: Truth, word: true, truth: func(s *Runner) bool { return s.ask(i) != 0 }}
	}
	return operand{kind: Number, word: true, num: func(s *Runner) float64 { return s.ask(i) }, is: askedFor(&c.asks.list[i])}
}

var argumentExamples = map[word.Argument]string{word.Nothing: "()", word.Analyte: `("Cu")`, word.Task: `("name of a task")`,
	word.Target: `("Na", 15)`, word.Grade: `("SAE 5W-30")`, word.Temperature: "(20)",
	word.OfMeter: `("idle hours")`, word.OfRule: `("name of a rule")`}

// argument checks the argument of a word: written out, and known.
func (c *compiler) argument(n *ast.CallNode, info *word.Info) (string, bool) {
	example := "write " + info.Name + argumentExamples[info.Of]
	switch count := len(n.Arguments); {
	case info.Of == word.Nothing && count > 0:
		return "", c.wrong(n.Arguments[0], example, "%s takes no argument", info.Name)
	case info.Of == word.Nothing:
		return "", true
	case info.Of == word.Target && count != 2:
		return "", c.wrong(n, example, "%s takes two arguments, not %d", info.Name, count)
	case info.Of == word.Analyte && count == 2:
		return c.elsewhere(n, info)
	case info.Of != word.Target && count != 1:
		return "", c.wrong(n, example, "%s takes one argument, not %d", info.Name, count)
	}
	if info.Of == word.Temperature {
		return c.temperature(n.Arguments[0], info)
	}
	s, ok := n.Arguments[0].(*ast.StringNode)
	if !ok {
		if id, isName := n.Arguments[0].(*ast.IdentifierNode); isName && info.Of != word.Target {
			example = "write " + info.Name + `("` + id.Value + `")`
		}
		return "", c.wrong(n.Arguments[0], example, "the argument of %s must be written out in quotes", info.Name)
	}
	switch info.Of {
	case word.Task:
		return s.Value, c.knownTask(s)
	case word.OfRule:
		return s.Value, c.knownRule(s, info)
	case word.OfMeter:
		return s.Value, s.Value != "" || c.wrong(s, example, "the meter of %s has no name", info.Name)
	case word.Grade:
		return s.Value, gradeForm.MatchString(s.Value) || c.wrong(s, `write "SAE 30", "SAE 5W-30" or "ISO VG 46"`, "%q is not a viscosity grade", s.Value)
	case word.Target:
		v := c.compile(n.Arguments[1])
		if v.kind != Any && (v.kind != Number || !v.constant || v.value < 0) {
			return "", c.wrong(n.Arguments[1], example, "the target of %s must be a number from 0, written out", info.Name)
		}
		return s.Value + " " + strconv.FormatFloat(v.value, 'f', -1, 64), v.kind == Number && c.knownAnalyte(s, info)
	}
	return s.Value, c.knownAnalyte(s, info)
}

// elsewhere checks the arguments of a word that is asked of another component.
func (c *compiler) elsewhere(n *ast.CallNode, info *word.Info) (string, bool) {
	s, ok := n.Arguments[0].(*ast.StringNode)
	of, named := n.Arguments[1].(*ast.StringNode)
	if !ok || !named || of.Value == "" {
		return "", c.wrong(n, "write "+info.Name+`("Na", "cooling")`, "%s takes an analyte and the name or kind of a component, written out in quotes", info.Name)
	}
	return word.AskedOf(s.Value, of.Value), c.knownAnalyte(s, info)
}

// knownRule checks the name of another rule. Where and factors of tasks ask of none: they
// come before the rules.
func (c *compiler) knownRule(s *ast.StringNode, info *word.Info) bool {
	if !c.scope.Rules {
		return c.wrong(s, "rules ask for alarms, in `measure`, `raise`, `clear` and limits", "%s cannot ask %s", c.scope.What, info.Name)
	}
	if _, task := slices.BinarySearch(c.l.Tasks, s.Value); task {
		return c.wrong(s, fmt.Sprintf("of work ask dueIn(%q), daysToDue(%[1]q) or done(%[1]q)", s.Value), "%q is a task, and %s asks of a rule", s.Value, info.Name)
	}
	_, known := slices.BinarySearch(c.l.Rules, s.Value)
	return known || c.wrong(s, c.src.d.DidYouMean(s.Value, c.l.Rules, "the book has no such rule"), "unknown rule %q", s.Value)
}

// otherNames are what words are called elsewhere.
var otherNames = map[string]string{"cleanliness": `write iso4406("particles4")`}

// coldest and hottest are the temperatures in degC at which a viscosity may be asked for:
// those of fluids in vehicles; common practice, no source.
const coldest, hottest = -40, 150

// temperature checks a temperature: a number that is written out.
func (c *compiler) temperature(n ast.Node, info *word.Info) (string, bool) {
	v := c.compile(n)
	if v.kind != Any && (v.kind != Number || !v.constant || v.value < coldest || v.value > hottest) {
		return "", c.wrong(n, "write "+info.Name+argumentExamples[info.Of], "the temperature of %s must be a number from %d to %d (°C), written out", info.Name, coldest, hottest)
	}
	return strconv.FormatFloat(v.value, 'f', -1, 64), v.kind == Number
}

// wrong is fault, for what is right or wrong: it is false.
func (c *compiler) wrong(n ast.Node, hint, format string, args ...any) bool {
	c.fault(n, hint, format, args...)
	return false
}

// gradeForm is how grades of SAE J300 and ISO 3448 are written.
var gradeForm = regexp.MustCompile(`^(SAE [0-9]{1,2}(W(-[0-9]{1,2})?)?|ISO VG [0-9]+(\.[0-9])?)$`)

func (c *compiler) knownTask(s *ast.StringNode) bool {
	_, known := slices.BinarySearch(c.l.Tasks, s.Value)
	return known || c.wrong(s, c.src.d.DidYouMean(s.Value, c.l.Tasks, "the book has no such task"), "unknown task %q", s.Value)
}

func (c *compiler) knownAnalyte(s *ast.StringNode, info *word.Info) bool {
	name, w := s.Value, info.Word
	_, measured := c.l.Measures[name]
	switch {
	case measured && !info.OfMeasures():
		return c.wrong(s, "of what is measured by hand ask "+strings.Join(word.OfMeasures(), ", "), "%s asks about a fluid, and %q is measured by hand", info.Name, name)
	case measured && (w == word.Times || w == word.Deviations) && !c.l.Mean[name]:
		return c.wrong(s, "add "+name+" to the `mean` of a baseline", "no baseline has a mean for %q", name)
	case measured && w == word.Deviations && !c.l.Spread[name]:
		return c.wrong(s, "add "+name+" to the `spread` of a baseline", "no baseline has a spread of %q", name)
	case measured:
	case !analytes.Known(name) && strings.Contains(name, " "):
		return c.wrong(s, c.src.d.DidYouMean(name, c.l.MeasureNames(), "name it at the top of a file: `measures: {"+name+": mm}`"), "unknown measure %q", name)
	case !analytes.Known(name):
		return c.wrong(s, c.src.d.DidYouMean(name, c.l.MeasureNames(), AnalyteHint(c.src.d, name)), "unknown analyte %q", name)
	case !analytes.Reported(name) && !c.l.Mean[name] && !c.l.Fresh[name]:
		from, to := span(s)
		text, hint := Unreported(name)
		c.l.Questions = append(c.l.Questions, c.src.makeFault(from, to, hint, text))
	}
	switch {
	case w == word.Iso4406 && !slices.Contains(codedSizes, name):
		return c.wrong(s, "write "+info.Name+`("particles14")`, "ISO 4406 has codes for particles4, particles6 and particles14, not for %q", name)
	case w == word.As4059 && !strings.HasPrefix(name, "particles"):
		return c.wrong(s, "write "+info.Name+`("particles14")`, "SAE AS4059 has classes for particles, not for %q", name)
	case c.l.Fleet:
	case w == word.Percentile:
		return c.wrong(s, "add `from: fleet` to a baseline", "no baseline is made from the fleet's samples, so there is nothing to rank against")
	case w == word.Deviations && !c.l.Spread[name]:
		return c.wrong(s, "add "+name+" to the `spread` of a baseline", "no baseline has a spread of %q", name)
	case (w == word.Times || w == word.TimesForAge) && !c.l.Mean[name]:
		return c.wrong(s, "add "+name+" to the `mean` of a baseline", "no baseline has a mean for %q", name)
	}
	return true
}

// codedSizes are the counts that ISO 4406 gives a scale number.
var codedSizes = []string{"particles4", "particles6", "particles14"}

// Unreported asks about an element that laboratories do not report.
func Unreported(name string) (text, hint string) {
	a, _ := analytes.Of(name)
	text = fmt.Sprintf("laboratories do not report %s (%s), so nothing is likely to be judged by it", name, a.Title)
	if near := analytes.NearReported(name); len(near) > 0 {
		return text, "is " + english.List("or", near) + " meant?"
	}
	return text, "compare it with a sheet of your laboratory"
}

// AnalyteHint names the cure of an unknown analyte.
func AnalyteHint(d *source.Document, name string) string {
	for _, a := range analytes.Names() {
		if strings.EqualFold(a, name) {
			return "did you mean `" + a + "`?"
		}
	}
	properties := slices.DeleteFunc(analytes.Names(), func(name string) bool { return analytes.UnitOf(name) == "mg/kg" })
	known := "analytes are element symbols, and " + strings.Join(properties, " ")
	if strings.ContainsFunc(name, func(r rune) bool { return r > unicode.MaxASCII }) {
		return d.DidYouMean(name, analytes.Names(), known)
	}
	if len(name) < 3 {
		return known
	}
	return d.DidYouMean(name, properties, known)
}

// function is how one of [word.Functions] is compiled.
type function struct {
	least, most int // arguments
	of          Kind
	compile     func(c *compiler, n *ast.CallNode, args []operand) operand
}

var functions = map[string]function{
	"abs":   {1, 1, Number, ofNumber(math.Abs, bounds.Sizes)},
	"ceil":  {1, 1, Number, ofNumber(math.Ceil, bounds.Rising)},
	"floor": {1, 1, Number, ofNumber(math.Floor, bounds.Rising)},
	"lower": {1, 1, Text, lowering},
	"max":   {2, 16, Number, ofNumbers(math.Max)},
	"min":   {2, 16, Number, ofNumbers(math.Min)},
	"round": {1, 2, Number, rounding},

	"bar": aFigure, "days": aFigure, "degC": aFigure, "degF": aFigure, "gal": aFigure, "h": aFigure, "km": aFigure, "kPa": aFigure, "L": aFigure,
	"mi": aFigure, "psi": aFigure, "qt": aFigure,
}

var aFigure = function{1, 1, Number, figure}

func (c *compiler) function(n *ast.CallNode, name string, f function) operand {
	args := make([]operand, len(n.Arguments))
	for i, a := range n.Arguments {
		args[i] = c.compile(a)
	}
	if len(args) < f.least || len(args) > f.most {
		i := slices.IndexFunc(word.Functions, func(f word.Function) bool { return f.Name == name })
		return c.fault(n, "it is "+word.Functions[i].Signature, "%s does not take %d arguments", name, len(args))
	}
	for i := range args {
		args[i] = c.needs(n.Arguments[i], args[i], f.of, name)
	}
	if slices.ContainsFunc(args, func(o operand) bool { return o.kind == Any }) {
		return operand{}
	}
	return f.compile(c, n, args)
}

func ofNumber(f func(float64) float64, of func(func(float64) float64, bounds.Bounds) bounds.Bounds) func(*compiler, *ast.CallNode, []operand) operand {
	return func(_ *compiler, _ *ast.CallNode, args []operand) operand {
		return operand{kind: Number, num: applied(args[0].num, f, of), is: args[0].is}
	}
}

func ofNumbers(f func(a, b float64) float64) func(*compiler, *ast.CallNode, []operand) operand {
	return func(c *compiler, n *ast.CallNode, args []operand) operand {
		is, ok := c.alike(n, n.Callee.String(), args, n.Arguments...)
		if !ok {
			return operand{}
		}
		return operand{kind: Number, is: is, num: func(s *Runner) float64 {
			before := len(s.missing)
			v := s.spanOf(before, args[0].num(s))
			for _, a := range args[1:] {
				now := len(s.missing)
				v = bounds.Through(f, v, s.spanOf(now, a.num(s)))
			}
			if len(s.missing) > before {
				return s.opened(v)
			}
			return v.Low
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
	return operand{kind: Number, num: applied(x, func(v float64) float64 { return round(v, decimals) }, bounds.Rising), is: args[0].is}
}

func lowering(_ *compiler, _ *ast.CallNode, args []operand) operand {
	x := args[0].text
	return operand{kind: Text, text: func(s *Runner) string { return strings.ToLower(x(s)) }}
}
