package expression

import (
	"slices"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Template is a compiled text with `${ }` in it. A nil one has nothing to say.
type Template struct {
	parts []part
	asks  *Asks
}

// part is literal text, or a value.
type part struct {
	literal string
	from    int // rune of the text at which the literal begins
	value   *Condition
	amount  *amount // of a value that is a quantity
	per     bool    // what a rate is told for: "1,000 km"
}

// templateLimit is the most bytes a template may have.
const templateLimit = 4 << 10

// Template reads a text with `${ expression }` in it; `$${` is a literal `${`,
// and a lone `$`, `{` or `}` is itself. It is nil where n is, or where there was a fault.
func (l *Language) Template(d *source.Document, n *yaml.Node, sc Scope) *Template {
	if n == nil {
		return nil
	}
	s := d.Text(n, sc.What)
	if len(s) > templateLimit {
		d.Fault(n, "", "%s has more than %d characters", sc.What, templateLimit)
		return nil
	}
	t := &Template{asks: &Asks{}}
	src := newExcerpt(d, n, s)
	var lit strings.Builder
	begin := 0
	flush := func() {
		if lit.Len() > 0 {
			t.parts = append(t.parts, part{literal: lit.String(), from: utf8.RuneCountInString(s[:begin])})
			lit.Reset()
		}
	}
	for i := 0; i < len(s); {
		switch {
		case strings.HasPrefix(s[i:], "$${"):
			lit.WriteString("${")
			i += 3
		case strings.HasPrefix(s[i:], "${"):
			end := closing(s[i+2:])
			from := utf8.RuneCountInString(s[:i])
			if end < 0 {
				src.fault(from, from+2, "close it with `}`; a literal ${ is written $${", "%s: a `${` is not closed", sc.What)
				return t
			}
			flush()
			inner := excerpt{d: d, n: n, text: s[i+2 : i+2+end], from: from + 2, left: src.left}
			t.parts = append(t.parts, part{value: l.compile(inner, sc, t.asks)})
			i += 2 + end + 1
			begin = i
		default:
			lit.WriteByte(s[i])
			i++
		}
	}
	flush()
	t.forReaders(l, src, sc.Units.Or(unit.Metric))
	return t
}

// closing finds the `}` that ends an expression: one outside its quotes, raw
// strings, comments and brackets; -1 where there is none.
func closing(s string) int {
	depth := 0
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == '"' || c == '\'' || c == '`':
			end := endOfQuote(s[i+1:], c)
			if end < 0 {
				return -1
			}
			i += end + 1
		case strings.HasPrefix(s[i:], "/*"):
			end := strings.Index(s[i+2:], "*/")
			if end < 0 {
				return -1
			}
			i += end + 3
		case strings.HasPrefix(s[i:], "//"):
			end := strings.IndexByte(s[i:], '\n')
			if end < 0 {
				return -1
			}
			i += end
		case c == '(' || c == '[' || c == '{':
			depth++
		case c == '}' && depth <= 0:
			return i
		case c == ')' || c == ']' || c == '}':
			depth--
		}
	}
	return -1
}

// endOfQuote finds the closing quote; a backslash escapes, but not in a raw string.
func endOfQuote(s string, quote byte) int {
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && quote != '`' {
			i++
		} else if s[i] == quote {
			return i
		}
	}
	return -1
}

// Asks are the questions of all expressions of the template.
func (t *Template) Asks() *Asks {
	if t == nil {
		return &Asks{}
	}
	return t.asks
}

// ReadsComponent reports whether any expression of the template reads component.
func (t *Template) ReadsComponent() bool {
	return t != nil && slices.ContainsFunc(t.parts, func(p part) bool { return p.value != nil && p.value.ReadsComponent })
}

// Fill writes the template; what is missing or not finite prints as n/a. stage and
// measure are what those names stand for, of what gives the measure; nil where there is
// none.
func (s *Runner) Fill(t *Template, f word.Facts, stage string, measure float64, of *Condition) string {
	f.Ends(0)
	s.begin(f.Vehicle(), f.Component(), t.asks)
	s.facts, s.stage, s.measure, s.measured = f, stage, measure, of
	var b strings.Builder
	for _, p := range t.parts {
		switch {
		case p.per:
			b.WriteString(s.reader.Per())
		case p.value == nil:
			b.WriteString(p.literal)
		default:
			b.WriteString(s.print(p))
		}
	}
	return strings.TrimSpace(b.String())
}

// print gives one value as people read it.
func (s *Runner) print(p part) string {
	c := p.value
	s.missing = s.missing[:0]
	s.room(c)
	number := func(v float64) string {
		if p.amount == nil {
			return english.Number(v)
		}
		return p.amount.write(v, s.reader)
	}
	out, ok := "", false
	switch c.value.kind {
	case Number:
		var v float64
		v, out, ok = s.reported(c)
		out += number(v)
	case Text:
		out, ok = plainly(s, c, c.value.text)
	default:
		var v bool
		v, ok = plainly(s, c, c.value.truth)
		out = map[bool]string{true: "yes", false: "no"}[v]
	}
	if !ok {
		return "n/a"
	}
	return out
}
