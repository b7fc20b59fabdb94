package notify

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"telltale/rules"
)

// maxFile bounds people.yaml: a fleet of thousands names hundreds of people.
const maxFile = 256 << 10

// widest is the longest line that is shown with a fault.
const widest = 160

// reader walks the YAML and collects every fault before it gives up.
type reader struct {
	file   string
	lines  []string
	faults rules.Faults
}

// fault notes what is wrong at n: "what is wrong; the cure".
func (r *reader) fault(n *yaml.Node, format string, args ...any) {
	text, hint, _ := strings.Cut(fmt.Sprintf(format, args...), "; ")
	f := rules.Fault{Place: rules.Place{File: r.file, Line: n.Line, Col: n.Column}, Text: text, Hint: hint, Width: 1}
	if n.Line >= 1 && n.Line <= len(r.lines) && len(r.lines[n.Line-1]) <= widest {
		// What stands in the file must not drive the terminal that shows its errors.
		f.Source = strings.Map(func(c rune) rune {
			if c != '\t' && unicode.IsControl(c) {
				return -1
			}
			return c
		}, r.lines[n.Line-1])
		if n.Kind == yaml.ScalarNode && n.Style == 0 {
			f.Width = max(1, utf8.RuneCountInString(n.Value))
		}
	}
	r.faults = append(r.faults, f)
}

// err is nil, or all faults in order of place.
func (r *reader) err() error {
	if len(r.faults) == 0 {
		return nil
	}
	slices.SortStableFunc(r.faults, func(a, b rules.Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Col, b.Col))
	})
	return r.faults
}

// document returns the root of the one document in text, or nil after a fault.
func (r *reader) document(text []byte) *yaml.Node {
	top := &yaml.Node{Line: 1, Column: 1}
	if len(text) > maxFile {
		r.fault(top, "the file is over %d KiB", maxFile>>10)
		return nil
	}
	r.lines = strings.Split(string(text), "\n")
	dec := yaml.NewDecoder(bytes.NewReader(text))
	var doc yaml.Node
	if err := dec.Decode(&doc); errors.Is(err, io.EOF) {
		return nil
	} else if err != nil {
		r.syntax(err)
		return nil
	}
	var second yaml.Node
	if err := dec.Decode(&second); err == nil {
		r.fault(&second, "a second document; one file holds one")
	} else if !errors.Is(err, io.EOF) {
		r.syntax(err)
	}
	return doc.Content[0]
}

// syntax turns the parser's "yaml: line 3: text" into a fault at that line.
func (r *reader) syntax(err error) {
	n, text := &yaml.Node{Line: 1, Column: 1}, strings.TrimPrefix(err.Error(), "yaml: ")
	if _, e := fmt.Sscanf(text, "line %d:", &n.Line); e == nil {
		_, text, _ = strings.Cut(text, ": ")
	}
	r.fault(n, "%s", text)
}

// mapping calls do for each pair of n and reports what is not a mapping, a key
// twice, and keys for which do returns false; known are the keys that it takes.
func (r *reader) mapping(n *yaml.Node, what string, known []string, do func(key, val *yaml.Node) bool) {
	if n.Kind != yaml.MappingNode {
		r.fault(n, "%s wants a mapping, like \"name: …\"", what)
		return
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, val := n.Content[i], n.Content[i+1]
		switch {
		case key.Kind != yaml.ScalarNode || val.Kind == yaml.AliasNode:
			r.fault(key, "aliases and keys that are not plain words are not taken")
		case seen[key.Value]:
			r.fault(key, "%q stands twice in %s", key.Value, what)
		case !do(key, val):
			r.fault(key, "unknown key %q in %s; known are: %s", key.Value, what, strings.Join(known, ", "))
		}
		seen[key.Value] = true
	}
}

// text returns a scalar's value, "" after a fault.
func (r *reader) text(n *yaml.Node, what string) string {
	if n.Kind != yaml.ScalarNode || n.Tag == "!!null" {
		r.fault(n, "%s wants a text", what)
		return ""
	}
	return n.Value
}

// oneOf returns the scalar's value if it is one of the words.
func (r *reader) oneOf(n *yaml.Node, what string, words ...string) string {
	s := r.text(n, what)
	if s != "" && !slices.Contains(words, s) {
		r.fault(n, "%s cannot be %q; it is one of: %s", what, s, strings.Join(words, ", "))
		return ""
	}
	return s
}

// list returns the scalars of a sequence; one scalar alone is a list of one.
func (r *reader) list(n *yaml.Node, what string) []*yaml.Node {
	if n.Kind == yaml.ScalarNode && n.Tag != "!!null" {
		return []*yaml.Node{n}
	}
	if n.Kind != yaml.SequenceNode {
		r.fault(n, "%s wants a list, like [a, b]", what)
		return nil
	}
	var out []*yaml.Node
	for _, c := range n.Content {
		if c.Kind != yaml.ScalarNode {
			r.fault(c, "%s wants a list of plain words", what)
			continue
		}
		out = append(out, c)
	}
	return out
}
