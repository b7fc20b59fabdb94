package rules

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"gopkg.in/yaml.v3"

	"telltale/rules/unit"
)

// Condition is one checked and compiled expression of a rule file. It is
// immutable; a Judge runs it.
type Condition struct {
	Text           string
	At             Place
	ReadsComponent bool

	asks  *asks
	value operand
	lets  int         // how many `let` names it binds
	reads []fieldRead // as they stand, each as often
}

// The most that one expression may have.
const (
	conditionLimit = 4 << 10 // bytes
	stepLimit      = 2000    // parts, counting shared ones each time
)

// asks are the questions to Facts that the conditions of one rule share, each once.
type asks struct {
	list []question
	// required are the numbers of those that some call asks outside a has() guard.
	required []int
	index    map[questionKey]int
	sample   *Fault // the first question about a component's fluid: a fault where there is no component
}

type questionKey struct {
	word Word
	arg  string
}

// question is one word with its argument.
type question struct {
	info  *WordInfo
	arg   string
	times float64 // from base units: times this,
	over  float64 // divided by this
	of    string  // as evidence shows it
}

func newAsks() *asks { return &asks{index: map[questionKey]int{}} }

func (a *asks) add(info *WordInfo, arg string, required bool, u Units) int {
	key := questionKey{info.word, arg}
	i, ok := a.index[key]
	if !ok {
		i = len(a.list)
		a.index[key] = i
		q := question{info: info, arg: arg, times: 1, over: 1, of: info.Name + "()"}
		switch name, number, _ := strings.Cut(arg, " "); info.arg {
		case nothing:
		case target:
			q.of = fmt.Sprintf("%s(%q, %s)", info.Name, name, number)
		default:
			q.of = fmt.Sprintf("%s(%q)", info.Name, arg)
		}
		q.scale(u)
		a.list = append(a.list, q)
	}
	if required && !slices.Contains(a.required, i) {
		a.required = append(a.required, i)
	}
	return i
}

// scale sets how base units become the book's. Dividing by the length of the
// unit, not multiplying by its inverse, gives back the number that was reported.
func (q *question) scale(u Units) {
	metres, _, _ := unit.Base(1, u.Distance)
	switch q.info.scale {
	case toDistance:
		q.over = metres
	case runHours:
		q.over = 3600
	case perRun:
		q.times = 1000 * metres
	case toVolume:
		q.over, _, _ = unit.Base(1, u.Volume)
	case perRunTwice:
		q.times = 1000 * metres * 1000 * metres
	}
}

// per100Hours scales a rate that is known per second of running.
const per100Hours = 100 * 3600

// scope says what an expression may use.
type scope struct {
	what    string // in error texts: `measure of rule "x"`
	want    kind   // what it must give; anyKind: number, text or truth
	words   bool   // words may be asked
	measure bool   // `measure` is known
	stage   bool   // `stage` is known
}

// parserConfig disables everything built into the parser's language: a rule has
// the words and functions of the reference and no others. Predicates over lists
// cannot be disabled there; compiling refuses them.
func parserConfig() *conf.Config {
	c := conf.CreateNew()
	for name := range c.Builtins {
		c.Disabled[name] = true
	}
	return c
}

// condition reads a scalar as an expression. It is nil where there was a fault.
func (d *document) condition(n *yaml.Node, sc scope, a *asks) *Condition {
	if n.Kind != yaml.ScalarNode {
		d.fault(n, "an expression that begins with `{` or `[` must be quoted", "%s must be an expression, not %s", sc.what, kindName(n))
		return nil
	}
	if n.Style == 0 && (n.Tag == "!!int" || n.Tag == "!!float") {
		if _, ok := d.number(n, sc.what); !ok {
			return nil
		}
	}
	return d.compile(newSource(d, n, n.Value), sc, a)
}

// compile parses and compiles one expression that stands at src.
func (d *document) compile(src source, sc scope, a *asks) *Condition {
	if len(src.text) > conditionLimit {
		src.fault(0, 1, "split the rule", "%s has more than %d characters", sc.what, conditionLimit)
		return nil
	}
	if strings.TrimSpace(src.text) == "" {
		src.fault(0, 1, "", "%s is empty", sc.what)
		return nil
	}
	node, err := parse(d.l.parser, src.text)
	if err != nil {
		src.syntax(err, sc)
		return nil
	}
	c := &compiler{src: src, scope: sc, asks: a, l: d.l}
	value := c.compile(node, nil)
	if !c.failed {
		c.wants(value, node)
	}
	if c.failed {
		return nil
	}
	return &Condition{Text: src.text, At: d.place(src.n), ReadsComponent: c.component, asks: a, value: value, lets: c.maxLets, reads: c.reads}
}

// parse turns a panic of the parser into an error.
func parse(cfg *conf.Config, text string) (n ast.Node, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = &file.Error{Message: fmt.Sprint(r)}
		}
	}()
	tree, err := parser.ParseWithConfig(text, cfg)
	if err != nil {
		return nil, err
	}
	return tree.Node, nil
}

// source is an expression within a scalar: all of it, or the inside of a `${ }`
// that begins at rune from.
type source struct {
	d    *document
	n    *yaml.Node
	text string
	from int
	left *int // how many faults of the scalar will still be reported
}

// faultsAScalar bounds what is reported of one value; mend those first.
const faultsAScalar = 10

func newSource(d *document, n *yaml.Node, text string) source {
	left := faultsAScalar
	return source{d: d, n: n, text: text, left: &left}
}

// fault reports what is wrong with the runes [from, to) of the expression.
func (s source) fault(from, to int, hint, format string, args ...any) {
	if *s.left--; *s.left >= 0 {
		s.d.l.add(s.makeFault(from, to, hint, fmt.Sprintf(format, args...)))
	}
}

func (s source) makeFault(from, to int, hint, text string) Fault {
	line, col := s.d.at(s.n, s.from+from)
	width := 1
	if endLine, endCol := s.d.at(s.n, s.from+max(to-1, from)); endLine == line {
		width = endCol - col + 1
	}
	return s.d.makeFault(line, col, width, hint, text)
}

// slice gives the runes [from, to) of the expression.
func (s source) slice(from, to int) string {
	r := []rune(s.text)
	from, to = max(0, min(from, len(r))), max(0, min(to, len(r)))
	return string(r[from:max(from, to)])
}

var tokenName = regexp.MustCompile(`unexpected token (?:EOF|\w+\((".*")\))`)

// syntax reports the parser's error in our words, with the cure of common slips.
func (s source) syntax(err error, sc scope) {
	var fe *file.Error
	if !errors.As(err, &fe) {
		s.fault(0, 1, "", "%s: %s", sc.what, firstLine(err.Error()))
		return
	}
	message, token := firstLine(fe.Message), ""
	if m := tokenName.FindStringSubmatch(message); m != nil {
		token = strings.Trim(m[1], `"`)
		message = fmt.Sprintf("unexpected `%s`", token)
	}
	from, to := fe.From, max(fe.To, fe.From+1)
	if strings.HasPrefix(fe.Message, "unexpected token EOF") || strings.Contains(fe.Message, "unexpected end of expression") {
		message = "the expression ends too early"
		from = utf8.RuneCountInString(strings.TrimRight(s.text, " \t\r\n"))
		to = from + 1
		if s.n.Style == 0 && s.n.LineComment != "" {
			s.fault(from, to, "YAML takes ` #` for a comment: quote the value, or write it after `|` on the next line", "%s: %s", sc.what, message)
			return
		}
	}
	s.fault(from, to, slip(token, s.text), "%s: %s", sc.what, message)
}

// slip names the cure of a token that other languages have.
func slip(token, text string) string {
	switch token {
	case "=":
		return "to compare, write `==`"
	case "&":
		return "write `&&`"
	case "=>", "=<", "<>":
		return "write `>=`, `<=` or `!=`"
	case "#":
		return "there are no lists to walk in a rule"
	}
	switch {
	case strings.Contains(text, "??"):
		return "there is no `??` in rules: ask `has(…) ? … : …`; a missing tag is \"\""
	case strings.Contains(text, "=<") || strings.Contains(text, "=>"):
		return "write `<=` or `>=`"
	case strings.Contains(text, "<>"):
		return "write `!=`"
	case strings.Count(text, "(") > strings.Count(text, ")"):
		return "a `(` is not closed"
	case strings.Count(text, "(") < strings.Count(text, ")"):
		return "a `)` is too many"
	}
	return ""
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}

// AsksFacts reports whether the condition asks anything of the meters, samples or
// the schedule, and not only of what the register says.
func (c *Condition) AsksFacts() bool { return c.asks != nil && len(c.asks.list) > 0 }
