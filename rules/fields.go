package rules

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
)

// field is one entry of a mapping.
type field struct {
	key, value *yaml.Node
}

// fields are the entries of a mapping with known keys.
type fields map[string]field

// get gives the value of a key, or nil.
func (f fields) get(key string) *yaml.Node { return f[key].value }

// kindName is what error texts call the YAML kind of n.
func kindName(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a mapping"
	case yaml.SequenceNode:
		return "a list"
	}
	switch n.Tag {
	case "!!int", "!!float":
		return "a number"
	case "!!bool":
		return "true or false"
	case "!!null":
		return "nothing"
	}
	return "text"
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }

// entries reads a mapping whose keys are free names; keys stand once.
func (d *document) entries(n *yaml.Node, what string) []field {
	if n.Kind != yaml.MappingNode {
		d.fault(n, "", "%s must be a mapping of names, not %s", what, kindName(n))
		return nil
	}
	seen := make(map[string]int, len(n.Content)/2)
	var out []field
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Kind != yaml.ScalarNode {
			d.fault(k, "", "a key of %s must be text, not %s", what, kindName(k))
			continue
		}
		if first, dup := seen[k.Value]; dup {
			d.fault(k, "it stands first in line "+english.Number(float64(first)), "%s names %q twice", what, k.Value)
			continue
		}
		seen[k.Value] = k.Line
		if isNull(v) {
			d.fault(k, "give it a value or delete it", "%q has no value", k.Value)
			continue
		}
		out = append(out, field{k, v})
	}
	return out
}

// mapping reads a mapping with known keys; others are faults.
func (d *document) mapping(n *yaml.Node, what string, keys ...string) fields {
	out := fields{}
	for _, f := range d.entries(n, what) {
		if !slices.Contains(keys, f.key.Value) {
			d.fault(f.key, d.l.didYouMean(f.key.Value, keys, "known here: "+strings.Join(keys, ", ")), "unknown key %q in %s", f.key.Value, what)
			continue
		}
		out[f.key.Value] = f
	}
	return out
}

// nameLimit is the most characters a name may have.
const nameLimit = 80

// named checks the name of a task, rule, baseline or case.
func (d *document) named(n *yaml.Node, what string) bool {
	switch s := n.Value; {
	case n.Style == 0 && n.Tag != "!!str":
		d.fault(n, "put the name in quotes", "the name of %s is %s, not text", what, kindName(n))
	case strings.TrimSpace(s) == "" || strings.TrimSpace(s) != s:
		d.fault(n, "", "the name of %s is blank or has blanks around it", what)
	case utf8.RuneCountInString(s) > nameLimit:
		d.fault(n, "", "the name of %s has more than %d characters", what, nameLimit)
	case strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }):
		d.fault(n, "", "the name of %s has a character that does not print", what)
	case strings.HasPrefix(s, "data:"):
		d.fault(n, "names that begin with `data:` are those of the alarms on the data itself", "the name %q is taken", s)
	default:
		return true
	}
	return false
}

// text reads a scalar as text. Numbers, yes and no must be quoted, so that what
// is read is what was meant.
func (d *document) text(n *yaml.Node, what string) string {
	if n == nil {
		return ""
	}
	if n.Kind != yaml.ScalarNode {
		d.fault(n, "", "%s must be text, not %s", what, kindName(n))
		return ""
	}
	switch n.Tag {
	case "!!str", "!!timestamp":
		if strings.TrimSpace(n.Value) == "" {
			d.fault(n, "give it a value or delete it", "%s is empty", what)
		}
	default:
		d.fault(n, "put it in quotes", "%s must be text, not %s", what, kindName(n))
	}
	return n.Value
}

// texts reads a list of texts, or one text.
func (d *document) texts(n *yaml.Node, what string) []string {
	if n == nil {
		return nil
	}
	if n.Kind == yaml.ScalarNode {
		return []string{d.text(n, what)}
	}
	if n.Kind != yaml.SequenceNode {
		d.fault(n, "", "%s must be a list of texts, not %s", what, kindName(n))
		return nil
	}
	var out []string
	for _, c := range n.Content {
		s := d.text(c, what)
		if s != "" && slices.Contains(out, s) {
			d.fault(c, "", "%s names %q twice", what, s)
			continue
		}
		out = append(out, s)
	}
	return out
}

// choice reads one of the given texts and returns its index; the first where there is a fault.
func (d *document) choice(n *yaml.Node, what string, options ...string) int {
	if n == nil {
		return 0
	}
	if n.Kind == yaml.ScalarNode {
		if i := slices.Index(options, n.Value); i >= 0 {
			return i
		}
	}
	got := kindName(n)
	if n.Kind == yaml.ScalarNode {
		got = strconv.Quote(n.Value)
	}
	d.fault(n, d.l.didYouMean(n.Value, options, ""), "%s must be %s, not %s", what, english.List("or", options), got)
	return 0
}

// yes reads yes or no; def where it is not written.
func (d *document) yes(n *yaml.Node, what string, def bool) bool {
	if n == nil {
		return def
	}
	if n.Kind == yaml.ScalarNode && n.Style == 0 {
		switch n.Value {
		case "yes", "true":
			return true
		case "no", "false":
			return false
		}
	}
	d.fault(n, "write yes or no, without quotes", "%s must be yes or no", what)
	return def
}
