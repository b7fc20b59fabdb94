package expression

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/expr-lang/expr/file"
	"gopkg.in/yaml.v3"

	"telltale/rules/source"
)

// excerpt is an expression within a scalar: all of it, or the inside of a `${ }`
// that begins at rune from.
type excerpt struct {
	d    *source.Document
	n    *yaml.Node
	text string
	from int
	left *int // how many faults of the scalar will still be reported
}

// faultsAScalar bounds what is reported of one value; mend those first.
const faultsAScalar = 10

func newExcerpt(d *source.Document, n *yaml.Node, text string) excerpt {
	left := faultsAScalar
	return excerpt{d: d, n: n, text: text, left: &left}
}

// fault reports what is wrong with the runes [from, to) of the expression.
func (s excerpt) fault(from, to int, hint, format string, args ...any) {
	if *s.left--; *s.left >= 0 {
		s.d.Add(s.makeFault(from, to, hint, fmt.Sprintf(format, args...)))
	}
}

func (s excerpt) makeFault(from, to int, hint, text string) source.Fault {
	line, col := s.d.At(s.n, s.from+from)
	width := 1
	if endLine, endCol := s.d.At(s.n, s.from+max(to-1, from)); endLine == line {
		width = endCol - col + 1
	}
	return s.d.FaultAt(line, col, width, hint, text)
}

// slice gives the runes [from, to) of the expression.
func (s excerpt) slice(from, to int) string {
	r := []rune(s.text)
	from, to = max(0, min(from, len(r))), max(0, min(to, len(r)))
	return string(r[from:max(from, to)])
}

var tokenName = regexp.MustCompile(`unexpected token (?:EOF|\w+\((".*")\))`)

// syntax reports the parser's error in our words, with the cure of common slips.
func (s excerpt) syntax(err error, sc Scope) {
	var fe *file.Error
	if !errors.As(err, &fe) {
		s.fault(0, 1, "", "%s: %s", sc.What, firstLine(err.Error()))
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
			s.fault(from, to, "YAML takes ` #` for a comment: quote the value, or write it after `|` on the next line", "%s: %s", sc.What, message)
			return
		}
	}
	s.fault(from, to, slip(token, s.text), "%s: %s", sc.What, message)
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
		return "there is a `)` too many"
	}
	return ""
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}
