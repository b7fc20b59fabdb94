package rules

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// fileLimit is the largest rule file that is read; bisectLimit the largest whose
// YAML errors are placed by parsing beginnings of it again.
const (
	fileLimit   = 256 << 10
	bisectLimit = 64 << 10
	depthLimit  = 32
)

// document is one rule file: its lines for error texts, its YAML nodes.
type document struct {
	l     *loader
	name  string
	lines []string
	root  *yaml.Node // nil where the file could not be read

	runes   []rune // of the line asked for last: a long line with many faults is taken apart once
	runesOf int
}

// line gives the runes of a line, from 1.
func (d *document) line(n int) []rune {
	if d.runesOf != n {
		d.runes, d.runesOf = []rune(d.lines[n-1]), n
	}
	return d.runes
}

var lineBreak = regexp.MustCompile("\r\n|\n|\r")

// read parses the file strictly; what cannot be read is a fault and leaves root nil.
func (l *loader) read(f File) *document {
	d := &document{l: l, name: f.Name}
	text := bytes.TrimPrefix(f.Text, []byte("\ufeff"))
	if len(text) > fileLimit {
		l.add(Fault{Place: Place{f.Name, 1, 1}, Text: fmt.Sprintf("the file has %d KiB, more than %d", (len(text)+1023)>>10, fileLimit>>10),
			Hint: "split it into several files of the folder; all files make one book", Width: 1})
		return d
	}
	d.lines = lineBreak.Split(string(text), -1)
	if !d.cleanText() {
		return d
	}
	dec := yaml.NewDecoder(bytes.NewReader(text))
	var root, second yaml.Node
	if err := decode(dec, &root); errors.Is(err, io.EOF) {
		d.faultAt(1, 1, 1, "begin with `book: 1`", "the file is empty")
		return d
	} else if err != nil {
		d.syntax(text, err)
		return d
	}
	if err := decode(dec, &second); err == nil {
		d.fault(&second, "put it into a file of its own", "a second document begins here")
	} else if !errors.Is(err, io.EOF) {
		d.syntax(text, err)
		return d
	}
	if d.strict(root.Content[0], 0) {
		d.root = root.Content[0]
	}
	return d
}

// decode turns a panic of the YAML library into an error.
func decode(dec *yaml.Decoder, n *yaml.Node) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("yaml: %v", r)
		}
	}()
	return dec.Decode(n)
}

// cleanText refuses bad UTF-8 and characters that would make YAML count lines differently.
func (d *document) cleanText() bool {
	for i, line := range d.lines {
		if !utf8.ValidString(line) {
			col := 1
			for _, r := range line {
				if r == utf8.RuneError {
					break
				}
				col++
			}
			d.faultAt(i+1, col, 1, "save the file as UTF-8", "a byte that is not UTF-8")
			return false
		}
		at := strings.IndexFunc(line, func(r rune) bool {
			return r < ' ' && r != '\t' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == 0x2028 || r == 0x2029 || r == 0xfeff
		})
		if at >= 0 {
			r, _ := utf8.DecodeRuneInString(line[at:])
			d.faultAt(i+1, utf8.RuneCountInString(line[:at])+1, 1, "delete it", "a control character (%U)", r)
			return false
		}
	}
	return true
}

// strict refuses what YAML allows and rule files must not use: aliases,
// anchors, tags, merge keys, too deep nesting.
func (d *document) strict(n *yaml.Node, depth int) bool {
	switch {
	case n.Kind == yaml.AliasNode:
		d.fault(n, "write the value out; if it is text that begins with `*`, quote it", "an alias")
		return false
	case n.Anchor != "":
		d.fault(n, "write the value out where it is used; if it is text that begins with `&`, quote it", "an anchor")
		return false
	case n.Style&yaml.TaggedStyle != 0:
		d.fault(n, "a value that begins with `!` must be quoted, or write it after `|` on the next line", "a YAML tag")
		return false
	case depth > depthLimit:
		d.fault(n, "", "nested more than %d deep", depthLimit)
		return false
	}
	ok := true
	for i, c := range n.Content {
		if n.Kind == yaml.MappingNode && i%2 == 0 && c.Tag == "!!merge" {
			d.fault(c, "write the keys out", "a merge key")
			ok = false
		}
		ok = d.strict(c, depth+1) && ok
	}
	return ok
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// syntax reports a YAML error where it shows: the shortest beginning of the file
// that gives the same error ends at the faulty line.
func (d *document) syntax(text []byte, err error) {
	line, message := 1, err.Error()
	if m := yamlLine.FindStringSubmatch(message); m != nil {
		line, _ = strconv.Atoi(m[1])
		message = m[2]
	}
	if len(text) <= bisectLimit {
		line = d.bisect(message)
	}
	line = min(max(line, 1), len(d.lines))
	source := d.lines[line-1]
	col := len(source) - len(strings.TrimLeft(source, " \t")) + 1
	d.faultAt(line, col, utf8.RuneCountInString(strings.TrimSpace(source)), syntaxHint(message, source), "not YAML: %s", message)
}

// bisect finds the first line with which the beginning of the file gives the message.
func (d *document) bisect(message string) int {
	return 1 + sort.Search(len(d.lines)-1, func(i int) bool {
		var n yaml.Node
		dec := yaml.NewDecoder(strings.NewReader(strings.Join(d.lines[:i+1], "\n") + "\n"))
		for {
			if err := decode(dec, &n); errors.Is(err, io.EOF) {
				return false
			} else if err != nil {
				m := yamlLine.FindStringSubmatch(err.Error())
				return m != nil && m[2] == message
			}
		}
	})
}

// syntaxHint knows the cures of what goes wrong when conditions meet YAML.
func syntaxHint(message, line string) string {
	switch {
	case strings.Contains(message, "mapping values are not allowed"):
		return "a value that holds `: ` (a `? :` choice too) must be quoted, or written after `|` on the next line"
	case strings.Contains(line, "\t") && strings.Contains(message, "cannot start any token"):
		return "indent with spaces, not with tabs"
	case strings.Contains(message, "cannot start any token"):
		return "a value that begins with `%`, `@` or a backtick must be quoted, or written after `|` on the next line"
	case strings.Contains(message, "did not find expected ',' or"):
		return "a `[` or `{` is not closed, or a comma is missing; within them a value that holds one of `[]{},` must be quoted"
	case strings.Contains(message, "whitespace or line break") && strings.Contains(line, "!"):
		return "a value that begins with `!` must be quoted, or written after `|` on the next line"
	case strings.Contains(message, "unknown anchor"):
		return "a value that begins with `*` must be quoted"
	case strings.Contains(message, "did not find expected key") && strings.ContainsAny(line, `"'`):
		return "a value that begins with a quote must be quoted as a whole, or written after `|` on the next line"
	}
	return "check the indentation; a value with special characters is best written after `|` on the next line"
}

// faultAt reports what is wrong at a line and column, both from 1.
func (d *document) faultAt(line, col, width int, hint, format string, args ...any) {
	d.l.add(d.makeFault(line, col, width, hint, fmt.Sprintf(format, args...)))
}

func (d *document) makeFault(line, col, width int, hint, text string) Fault {
	f := Fault{Place: Place{d.name, line, max(col, 1)}, Text: text, Hint: hint, Width: max(width, 1)}
	if line >= 1 && line <= len(d.lines) {
		f.showSource(d.line(line))
	}
	return f
}

// fault reports what is wrong with a node, and marks the first line of it.
func (d *document) fault(n *yaml.Node, hint, format string, args ...any) {
	d.faultAt(n.Line, n.Column, d.width(n), hint, format, args...)
}

// width is how much of its first line the node takes.
func (d *document) width(n *yaml.Node) int {
	if n.Line < 1 || n.Line > len(d.lines) {
		return 1
	}
	if n.Kind == yaml.ScalarNode && n.Style == 0 && !strings.Contains(n.Value, "\n") {
		return utf8.RuneCountInString(n.Value)
	}
	if n.Kind == yaml.ScalarNode && n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
		return utf8.RuneCountInString(n.Value) + 2
	}
	return 1
}

func (d *document) place(n *yaml.Node) Place { return Place{d.name, n.Line, n.Column} }
