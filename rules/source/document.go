// Package source reads the YAML files that people write (rules, the register, the
// people, the settings, mappings of tables) more strictly than YAML does, and knows
// where each thing stands in them. Unknown and repeated keys, aliases, second documents
// and empty values are faults; all faults are collected, and each is shown as
// file:line:col with the line, a caret under what is wrong and the cure. It is pure, and
// knows nothing of what the files mean.
package source

import (
	"bytes"
	"cmp"
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

// fileLimit is the largest file that is read unless the reader is given another limit; bisectLimit the largest whose
// YAML errors are placed by parsing beginnings of it again.
const (
	fileLimit   = 256 << 10
	bisectLimit = 64 << 10
	depthLimit  = 32
)

// Document is one file, and the Reader that its faults go to. Its methods read nodes;
// what names the node in the faults: "title of task x".
type Document struct {
	*Reader
	name  string
	lines []string

	runes   []rune // of the line asked for last: a long line with many faults is taken apart once
	runesOf int
}

// line gives the runes of a line, from 1.
func (d *Document) line(n int) []rune {
	if d.runesOf != n {
		d.runes, d.runesOf = []rune(d.lines[n-1]), n
	}
	return d.runes
}

var lineBreak = regexp.MustCompile("\r\n|\n|\r")

// Read parses one file alone; root is nil where it cannot be read (see Err).
func Read(name string, text []byte) (d *Document, root *yaml.Node) {
	return NewReader(Cures{Empty: emptyCure, Second: secondCure}).Read(name, text)
}

// ReadRegister is Read for a register of vehicles, which has a few hundred bytes for each.
func ReadRegister(name string, text []byte) (d *Document, root *yaml.Node) {
	const limit = 8 << 20
	return NewReader(Cures{Empty: emptyCure, Second: secondCure, Limit: limit}).Read(name, text)
}

const (
	emptyCure  = "write something in it, or delete it"
	secondCure = "keep one of them"
)

// Read parses a file strictly; what cannot be read is a fault, and root nil.
func (r *Reader) Read(name string, text []byte) (d *Document, root *yaml.Node) {
	d = &Document{Reader: r, name: name}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if limit := cmp.Or(r.cures.Limit, fileLimit); len(text) > limit {
		d.add(1, 1, 1, r.cures.Long, "the file is %d KiB long; the limit is %d KiB", (len(text)+1023)>>10, limit>>10)
		return d, nil
	}
	d.lines = lineBreak.Split(string(text), -1)
	if !d.cleanText() {
		return d, nil
	}
	dec := yaml.NewDecoder(bytes.NewReader(text))
	var first, second yaml.Node
	if err := decode(dec, &first); errors.Is(err, io.EOF) {
		d.add(1, 1, 1, r.cures.Empty, "the file is empty")
		return d, nil
	} else if err != nil {
		d.syntax(text, err)
		return d, nil
	}
	if err := decode(dec, &second); err == nil {
		d.Fault(&second, r.cures.Second, "a second document begins here")
	} else if !errors.Is(err, io.EOF) {
		d.syntax(text, err)
		return d, nil
	}
	if !d.strict(first.Content[0], 0) {
		return d, nil
	}
	return d, first.Content[0]
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
func (d *Document) cleanText() bool {
	for i, line := range d.lines {
		column := func(at int) int { return utf8.RuneCountInString(line[:at]) + 1 }
		if !utf8.ValidString(line) {
			d.add(i+1, column(strings.IndexRune(line, utf8.RuneError)), 1, "save the file as UTF-8", "a byte that is not UTF-8")
			return false
		}
		at := strings.IndexFunc(line, func(r rune) bool {
			return r < ' ' && r != '\t' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == 0x2028 || r == 0x2029 || r == 0xfeff
		})
		if at >= 0 {
			r, _ := utf8.DecodeRuneInString(line[at:])
			d.add(i+1, column(at), 1, "delete it", "a control character (%U)", r)
			return false
		}
	}
	return true
}

// strict refuses what YAML allows and these files must not use: aliases,
// anchors, tags, merge keys, too deep nesting.
func (d *Document) strict(n *yaml.Node, depth int) bool {
	switch {
	case n.Kind == yaml.AliasNode:
		d.Fault(n, "write the value out; if it is text that begins with `*`, quote it", "an alias")
		return false
	case n.Anchor != "":
		d.Fault(n, "write the value out where it is used; if it is text that begins with `&`, quote it", "an anchor")
		return false
	case n.Style&yaml.TaggedStyle != 0:
		d.Fault(n, "a value that begins with `!` must be quoted, or write it after `|` on the next line", "a YAML tag")
		return false
	case depth > depthLimit:
		d.Fault(n, "", "nested more than %d deep", depthLimit)
		return false
	}
	ok := true
	for i, c := range n.Content {
		if n.Kind == yaml.MappingNode && i%2 == 0 && c.Tag == "!!merge" {
			d.Fault(c, "write the keys out", "a merge key")
			ok = false
		}
		ok = d.strict(c, depth+1) && ok
	}
	return ok
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// syntax reports a YAML error where it shows: the shortest beginning of the file
// that gives the same error ends at the faulty line.
func (d *Document) syntax(text []byte, err error) {
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
	d.add(line, col, utf8.RuneCountInString(strings.TrimSpace(source)), syntaxHint(message, source), "not YAML: %s", message)
}

// bisect finds the first line with which the beginning of the file gives the message.
func (d *Document) bisect(message string) int {
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

// syntaxCures are the cures of what goes wrong when conditions meet YAML, by what the
// message says and, where that is not enough, by a character of the line.
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
