package expression

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/expr-lang/expr/file"
	"gopkg.in/yaml.v3"

	"telltale/rules/expression/slip"
	"telltale/rules/source"
)

// excerpt is an expression within a scalar: all of it, or the inside of a `${ }`
// that begins at rune from.
type excerpt struct {
	d    *source.Document
	n    *yaml.Node
	text string
	from int
	left *int  // how many faults of the scalar will still be reported
	at   []int // where each rune of a mended text stands, and its end; nil where it is as written
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
	line, col, width := s.place(from, to)
	return s.d.FaultAt(line, col, width, hint, text)
}

// place is where the runes [from, to) stand in the file; of those on several lines, the
// first.
func (s excerpt) place(from, to int) (line, col, width int) {
	line, col = s.d.At(s.n, s.from+s.origin(from))
	if endLine, endCol := s.d.At(s.n, s.from+s.origin(max(to-1, from))); endLine == line {
		return line, col, endCol - col + 1
	}
	return line, col, 1
}

// origin is where a rune of the text stands in what was written.
func (s excerpt) origin(i int) int {
	if s.at == nil {
		return i
	}
	return s.at[min(i, len(s.at)-1)]
}

// origins are those of all runes and of the end.
func (s excerpt) origins() []int {
	if s.at != nil {
		return s.at
	}
	var out []int
	for i := range utf8.RuneCountInString(s.text) + 1 {
		out = append(out, i)
	}
	return out
}

// fix gives a fault the cure to put text in the place of the runes [from, to), if they
// stand on one line as they are.
func (s excerpt) fix(f *source.Fault, from, to int, text string) {
	line, col, width := s.place(from, to)
	if end := s.origin(max(to-1, from)) - s.origin(from) + 1; end != width || f.Line != line {
		return
	}
	s.d.Fix(f, line, col, width, s.quote(text))
}

// quote writes a text of an expression as the scalar's style wants it.
func (s excerpt) quote(text string) string {
	switch {
	case s.n.Style&yaml.DoubleQuotedStyle != 0:
		return strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(text)
	case s.n.Style&yaml.SingleQuotedStyle != 0:
		return strings.ReplaceAll(text, "'", "''")
	}
	return text
}

// slice gives the runes [from, to) of the expression.
func (s excerpt) slice(from, to int) string {
	r := []rune(s.text)
	from, to = max(0, min(from, len(r))), max(0, min(to, len(r)))
	return string(r[from:max(from, to)])
}

var tokenName = regexp.MustCompile(`unexpected token (?:EOF|\w+\((".*")\))`)

// syntax reports the parser's error in our words where no slip is known.
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
	if early(fe) {
		message = "the expression ends too early"
		from = utf8.RuneCountInString(strings.TrimRight(s.text, " \t\r\n"))
		to = from + 1
	}
	if s.cutOff(err) {
		line, col, width := s.d.Comment(s.n)
		s.d.Add(s.d.FaultAt(line, col, width, "YAML takes ` #` for a comment: quote the value, or write it after `|` on the next line", sc.What+": "+message))
		return
	}
	s.fault(from, to, cure(token, s.text), "%s: %s", sc.What, message)
}

func early(fe *file.Error) bool {
	return strings.HasPrefix(fe.Message, "unexpected token EOF") || strings.Contains(fe.Message, "unexpected end of expression")
}

// cutOff reports whether the expression ends too early, at what YAML takes for a comment.
func (s excerpt) cutOff(err error) bool {
	var fe *file.Error
	return s.n.Style == 0 && s.n.LineComment != "" && errors.As(err, &fe) && early(fe)
}

// cure names that of a token that other languages have.
func cure(token, text string) string {
	switch {
	case token == "#":
		return "there are no lists to walk in a rule"
	case strings.Contains(text, "??"):
		return "there is no `??` in rules: ask `has(…) ? … : …`; a missing tag is \"\""
	case text == "" || token == "":
		return "write what is missing"
	}
	return "put text in quotes, and an operator between two values; `telltale rules words` lists what a rule may ask"
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}

// mended tells the slip and gives the expression as it was meant.
func (s excerpt) mended(p slip.Slip, sc Scope) excerpt {
	if *s.left--; *s.left >= 0 {
		f := s.makeFault(p.From, p.To, p.Hint, sc.What+": "+p.Text)
		if !p.Unsure {
			s.fix(&f, p.From, p.To, p.With)
		}
		s.d.Add(f)
	}
	runes, at := []rune(s.text), s.origins()
	s.at = slices.Replace(slices.Clone(at), p.From, p.To, slices.Repeat([]int{at[p.From]}, len([]rune(p.With)))...)
	s.text = string(runes[:p.From]) + p.With + string(runes[p.To:])
	return s
}
