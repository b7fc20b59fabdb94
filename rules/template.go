package rules

import (
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
)

// template is a compiled text with `${ }` in it.
type template struct {
	parts []part
	asks  *asks
}

// part is literal text, or a value.
type part struct {
	literal string
	value   *Condition
}

// templateLimit is the most bytes a template may have.
const templateLimit = 4 << 10

// template reads a text with `${ expression }` in it; `$${` is a literal `${`,
// and a lone `$`, `{` or `}` is itself.
func (d *document) template(n *yaml.Node, sc scope, a *asks) *template {
	s := d.text(n, sc.what)
	if len(s) > templateLimit {
		d.fault(n, "", "%s has more than %d characters", sc.what, templateLimit)
		return nil
	}
	t := &template{asks: a}
	src := newSource(d, n, s)
	var lit strings.Builder
	flush := func() {
		if lit.Len() > 0 {
			t.parts = append(t.parts, part{literal: lit.String()})
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
				src.fault(from, from+2, "close it with `}`; a literal ${ is written $${", "%s: a `${` is not closed", sc.what)
				return t
			}
			flush()
			inner := source{d: d, n: n, text: s[i+2 : i+2+end], from: from + 2, left: src.left}
			t.parts = append(t.parts, part{value: d.compile(inner, sc, a)})
			i += 2 + end + 1
		default:
			lit.WriteByte(s[i])
			i++
		}
	}
	flush()
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

// readsComponent reports whether any expression of the template reads component.
func (t *template) readsComponent() bool {
	if t == nil {
		return false
	}
	for _, p := range t.parts {
		if p.value != nil && p.value.ReadsComponent {
			return true
		}
	}
	return false
}

// render writes the template; what is missing or not finite prints as n/a.
func (j *Judge) render(t *template) string {
	var b strings.Builder
	for _, p := range t.parts {
		if p.value == nil {
			b.WriteString(p.literal)
		} else {
			b.WriteString(j.print(p.value))
		}
	}
	return strings.TrimSpace(b.String())
}

// print gives one value as people read it.
func (j *Judge) print(c *Condition) string {
	s := &j.s
	s.missing = s.missing[:0]
	j.room(c)
	if c.value.censors != "" {
		if below := j.belowLimit(c.value.censors); below != "" {
			return below
		}
	}
	var out string
	switch c.value.kind {
	case number:
		out = english.Number(c.value.num(s))
	case text:
		out = c.value.text(s)
	default:
		out = map[bool]string{true: "yes", false: "no"}[c.value.truth(s)]
	}
	if len(s.missing) > 0 {
		return "n/a"
	}
	return out
}

// belowLimit gives "below 1" for a result that the laboratory gave so, else "".
func (j *Judge) belowLimit(analyte string) string {
	f := j.s.facts
	if below, _, ok := f.Truth(WordBelow, analyte); !ok || !below {
		return ""
	}
	f.Ends(^uint32(0))
	v, _, ok := f.Number(WordValue, analyte)
	f.Ends(0)
	if !ok {
		return ""
	}
	return "below " + english.Number(v)
}
