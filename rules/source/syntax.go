package source

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// A file that is not YAML is mended slip by slip: each is told where it stands, the cure
// that lets YAML read on is made in the text as read, and where there is none, what stands
// there is taken out. So all slips of a file come at once.
const (
	slipLimit  = 10      // that are told of a file
	parseLimit = 4 << 20 // bytes that are parsed to place and to mend them
	slipReach  = 40      // lines above an error among which its cause is looked for
)

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// parse reads the lines as YAML; second is that of a second document. A file of which
// nothing can be read is a nil first.
func (d *Document) parse() (first, second *yaml.Node) {
	for range slipLimit {
		first, second, err := d.decode(len(d.lines))
		switch {
		case errors.Is(err, io.EOF):
			d.add(1, 1, 1, d.cures.Empty, "the file is empty")
			return nil, nil
		case err == nil:
			return first, second
		case !d.slip(err):
			return nil, nil
		}
	}
	return nil, nil
}

// decode parses the first so many lines.
func (d *Document) decode(lines int) (first, second *yaml.Node, err error) {
	text := []byte(strings.Join(d.lines[:lines], "\n") + "\n")
	d.parsed += len(text)
	dec := yaml.NewDecoder(bytes.NewReader(text))
	var a, b yaml.Node
	if err := decode(dec, &a); err != nil {
		return nil, nil, err
	}
	switch err := decode(dec, &b); {
	case errors.Is(err, io.EOF):
		return &a, nil, nil
	case err != nil:
		return nil, nil, err
	}
	return &a, &b, nil
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

// slip tells what is behind an error of YAML and mends it; false where no more is read.
func (d *Document) slip(err error) bool {
	line, message := 1, err.Error()
	if m := yamlLine.FindStringSubmatch(message); m != nil {
		line, _ = strconv.Atoi(m[1])
		message = m[2]
	}
	if found := d.bisect(message); d.parsed < parseLimit {
		line = found
	}
	line = min(max(line, 1), len(d.lines))
	for _, s := range d.causes(line, message) {
		if d.parsed < parseLimit && d.cured(s, line) {
			return true
		}
	}
	source := d.lines[line-1]
	col := len(source) - len(strings.TrimLeft(source, " \t")) + 1
	d.add(line, col, utf8.RuneCountInString(strings.TrimSpace(source)), syntaxHint(message, source), "not YAML: %s", message)
	return d.parsed < parseLimit && d.takeOut(line)
}

// bisect finds the first line with which the beginning of the file gives the message.
func (d *Document) bisect(message string) int {
	return 1 + sort.Search(len(d.lines)-1, func(i int) bool {
		_, _, err := d.decode(i + 1)
		if err == nil || d.parsed > parseLimit {
			return false
		}
		m := yamlLine.FindStringSubmatch(err.Error())
		return m != nil && m[2] == message
	})
}

// cured makes the change of a cause; if YAML then reads on at least to the line, it is
// the cause, and is told.
func (d *Document) cured(s cause, line int) bool {
	f := d.FaultAt(s.line, s.col, s.width, s.hint, s.text)
	f.Fix = d.fix(s.fix.Line, s.fix.Col, s.fix.Width, s.fix.Text)
	before := *d
	before.mended = map[int]*mended{}
	for n, m := range d.mended {
		before.mended[n] = &mended{m.stands, slices.Clone(m.from)}
	}
	d.mend(s.fix)
	if _, _, err := d.decode(line); err != nil {
		if _, _, err = d.decode(len(d.lines)); err != nil {
			d.lines, d.mended, d.runesOf = before.lines, before.mended, 0
			return false
		}
	}
	d.Add(f)
	if strings.HasPrefix(s.fix.Text, "'*") || strings.HasPrefix(s.fix.Text, "'&") {
		d.hole(s.fix.Line, s.fix.Col) // nobody knows what it stands for
	}
	if s.guess {
		for col := s.col; col <= len(d.line(s.line)); col++ {
			d.hole(s.line, col)
		}
		d.hole(s.line, indentOf(d.lines[s.line-1])+1)
	}
	return true
}

// takeOut reads a line, and what stands under it, as nothing: a key as one with an empty
// mapping, so that its name is still known.
func (d *Document) takeOut(line int) bool {
	text := d.lines[line-1]
	if strings.TrimSpace(text) == "" {
		return false
	}
	indent := indentOf(text)
	for i := line + 1; i <= len(d.lines) && (indentOf(d.lines[i-1]) > indent || strings.TrimSpace(d.lines[i-1]) == ""); i++ {
		d.mend(Fix{i, 1, len(d.line(i)), ""})
	}
	instead := ""
	if m := keyLine.FindStringSubmatch(text); m != nil {
		instead = m[1] + m[2] + ": {}"
		d.hole(line, len(m[1])+1)
		d.hole(line, utf8.RuneCountInString(instead)-1)
	}
	d.mend(Fix{line, 1, len(d.line(line)), instead})
	for i := line - 1; i > 0 && indent > 0; i-- { // what lacks something for it
		if above := d.lines[i-1]; strings.TrimSpace(above) != "" && indentOf(above) < indent {
			indent = indentOf(above)
			d.hole(i, indent+1)
		}
	}
	return true
}

var keyLine = regexp.MustCompile(`^( *)([\p{L}\p{N}][^:#"'{}\[\],]*):(?: |$)`)

func indentOf(line string) int { return len(line) - len(strings.TrimLeft(line, " ")) }

// syntaxCures are the cures of what else is wrong with YAML, by what the message says and,
// where that is not enough, by a character of the line.
var syntaxCures = []struct{ message, line, cure string }{
	{"mapping values are not allowed", "", "a value that holds `: ` (a `? :` choice too) must be quoted, or written after `|` on the next line"},
	{"cannot start any token", "\t", "indent with spaces, not with tabs"},
	{"cannot start any token", "", "a value that begins with `%`, `@` or a backtick must be quoted, or written after `|` on the next line"},
	{"did not find expected ',' or", "", "a `[` or `{` is not closed, or a comma is missing; within them a value that holds one of `[]{},` must be quoted"},
	{"whitespace or line break", "!", "a value that begins with `!` must be quoted, or written after `|` on the next line"},
	{"unknown anchor", "", "a value that begins with `*` must be quoted"},
	{"did not find expected key", `"'`, "a value that begins with a quote must be quoted as a whole, or written after `|` on the next line"},
	{"", "", "check the indentation; a value with special characters is best written after `|` on the next line"},
}

func syntaxHint(message, line string) string {
	i := slices.IndexFunc(syntaxCures, func(c struct{ message, line, cure string }) bool {
		return strings.Contains(message, c.message) && (c.line == "" || strings.ContainsAny(line, c.line))
	})
	return syntaxCures[i].cure
}
