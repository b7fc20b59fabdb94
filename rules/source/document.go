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
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// fileLimit is the largest file that is read unless the reader is given another limit.
const (
	fileLimit  = 256 << 10
	depthLimit = 32
)

// Document is one file, and the Reader that its faults go to. Its methods read nodes;
// what names the node in the faults: "title of task x".
type Document struct {
	*Reader
	name  string
	lines []string // as read: see mended

	runes   []rune // of the line asked for last: a long line with many faults is taken apart once
	runesOf int

	mended map[int]*mended
	parsed int // bytes that the YAML library was given
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

// Read parses a file strictly. What cannot be read is a fault, and is left out or read as
// what was likely meant; root is nil where nothing can be read.
func (r *Reader) Read(name string, text []byte) (d *Document, root *yaml.Node) {
	d = &Document{Reader: r, name: name}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if limit := cmp.Or(r.cures.Limit, fileLimit); len(text) > limit {
		d.add(1, 1, 1, r.cures.Long, "the file is %d KiB long; the limit is %d KiB", (len(text)+1023)>>10, limit>>10)
		return d, nil
	}
	d.lines = lineBreak.Split(string(text), -1)
	if !d.letters() {
		return d, nil
	}
	first, second := d.parse()
	if first == nil {
		return d, nil
	}
	if second != nil {
		d.Fault(second, r.cures.Second, "a second document begins here")
	}
	d.strict(first.Content[0], 0)
	d.comments(first.Content[0])
	return d, first.Content[0]
}

// strict refuses what YAML allows and these files must not use (aliases, anchors, tags,
// merge keys, too deep nesting), and takes it out.
func (d *Document) strict(n *yaml.Node, depth int) {
	switch {
	case n.Kind == yaml.AliasNode:
		d.empty(n, "write the value out; if it is text that begins with `*`, quote it", "an alias")
	case n.Style&yaml.TaggedStyle != 0:
		d.empty(n, "a value that begins with `!` must be quoted, or write it after `|` on the next line", "a YAML tag")
	case depth > depthLimit:
		d.empty(n, "", fmt.Sprintf("nested more than %d deep", depthLimit))
	case n.Anchor != "":
		d.Fault(n, "write the value out where it is used; if it is text that begins with `&`, quote it", "an anchor")
		if n.Kind == yaml.ScalarNode {
			d.hole(n.Line, n.Column)
		}
	}
	for i := 0; i < len(n.Content); i++ {
		if c := n.Content[i]; n.Kind == yaml.MappingNode && i%2 == 0 && c.Tag == "!!merge" {
			d.Fault(c, "write the keys out", "a merge key")
			n.Content = slices.Delete(n.Content, i, i+2)
			i--
			continue
		}
		d.strict(n.Content[i], depth+1)
	}
}

// empty reports a value that cannot be read, and reads it as text of which nothing more is
// said.
func (d *Document) empty(n *yaml.Node, hint, text string) {
	d.Fault(n, hint, "%s", text)
	d.hole(n.Line, n.Column)
	*n = yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: "x", Line: n.Line, Column: n.Column}
}

// comments asks about text that ends at a # without a space after it: such a one was
// likely meant to be read.
func (d *Document) comments(n *yaml.Node) {
	if cut := n.LineComment; !d.Hole(n) && n.Kind == yaml.ScalarNode && n.Style == 0 && n.Tag == "!!str" && len(cut) > 1 && !strings.ContainsAny(cut[1:2], " #\t!") {
		line, col, width := d.Comment(n)
		d.Questions = append(d.Questions, d.FaultAt(line, col, width, "if it is text, quote all of it; begin a comment with `# `",
			fmt.Sprintf("YAML takes ` %s` for a comment, so the text ends before it", cut)))
	}
	for _, c := range n.Content {
		d.comments(c)
	}
}

// Comment is where the comment on a node's line stands.
func (d *Document) Comment(n *yaml.Node) (line, col, width int) {
	text := string(d.line(n.Line))
	at := max(strings.LastIndex(text, n.LineComment), 0)
	return n.Line, utf8.RuneCountInString(text[:at]) + 1, utf8.RuneCountInString(n.LineComment)
}
