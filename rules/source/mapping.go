package source

import (
	"fmt"
	"iter"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/unit"
)

// Pair is one entry of a mapping.
type Pair struct{ Key, Value *yaml.Node }

// Pairs gives the keys and values of a mapping as they stand; of another node, or of
// nil, nothing.
func Pairs(n *yaml.Node) iter.Seq2[*yaml.Node, *yaml.Node] {
	return func(yield func(k, v *yaml.Node) bool) {
		for i := 0; n != nil && n.Kind == yaml.MappingNode && i+1 < len(n.Content); i += 2 {
			if !yield(n.Content[i], n.Content[i+1]) {
				return
			}
		}
	}
}

// Value is the value of a key of a mapping, or nil.
func Value(n *yaml.Node, key string) *yaml.Node { return entry(n, key).Value }

// Key is a key of a mapping, or nil.
func Key(n *yaml.Node, key string) *yaml.Node { return entry(n, key).Key }

func entry(n *yaml.Node, key string) Pair {
	for k, v := range Pairs(n) {
		if k.Value == key {
			return Pair{k, v}
		}
	}
	return Pair{}
}

// Items are the entries of a list, or the one value; n may be nil.
func Items(n *yaml.Node) []*yaml.Node {
	switch {
	case n == nil:
		return nil
	case n.Kind == yaml.SequenceNode:
		return n.Content
	}
	return []*yaml.Node{n}
}

// KindName is what error texts call the YAML kind of n.
func KindName(n *yaml.Node) string {
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

// Entries reads a mapping whose keys are free names; keys stand once.
func (d *Document) Entries(n *yaml.Node, what string) []Pair {
	if n.Kind != yaml.MappingNode {
		d.notMapping(n, what)
		return nil
	}
	seen := make(map[string]int, len(n.Content)/2)
	var out []Pair
	for k, v := range Pairs(n) {
		if k.Kind != yaml.ScalarNode {
			d.Fault(k, "", "a key of %s must be text, not %s", what, KindName(k))
			continue
		}
		if first, dup := seen[k.Value]; dup {
			d.Fault(k, "it is first given in line "+english.Number(float64(first)), "%s names %q twice", what, k.Value)
			continue
		}
		seen[k.Value] = k.Line
		if v.Kind == yaml.ScalarNode && v.Tag == "!!null" {
			if d.parted(k) || d.stuck(k) {
				continue
			}
			d.Fault(k, "give it a value or delete it", "%q has no value", k.Value)
			continue
		}
		out = append(out, Pair{k, v})
	}
	return out
}

// notMapping reports what should be a mapping; of a list of them the dash is the slip.
func (d *Document) notMapping(n *yaml.Node, what string) {
	if n.Kind != yaml.SequenceNode || len(n.Content) == 0 || n.Content[0].Kind != yaml.MappingNode || n.Style&yaml.FlowStyle != 0 {
		d.Fault(n, "write `key: value` under it, each on a line of its own", "%s must be a mapping of names, not %s", what, KindName(n))
		return
	}
	for _, c := range n.Content {
		if c.Kind != yaml.MappingNode || len(c.Content) == 0 || c.Content[0].Line > len(d.lines) || d.Hole(n) {
			continue
		}
		dash := strings.LastIndex(string(d.line(c.Line)[:c.Column-1]), "-") + 1
		f := d.FaultAt(c.Line, dash, 1, fmt.Sprintf("write `%s:` without the dash", c.Content[0].Value), fmt.Sprintf("%s must be a mapping of names, not a list", what))
		f.Fix = d.fix(c.Line, dash, 1, " ")
		d.Add(f)
	}
}

// stuck reports a key of which the colon touches the value, as {caution:100}.
func (d *Document) stuck(k *yaml.Node) bool {
	key, value, ok := strings.Cut(k.Value, ":")
	if !ok || key == "" || value == "" || k.Style != 0 {
		return false
	}
	line, col := d.At(k, utf8.RuneCountInString(key))
	f := d.FaultAt(line, col, 1, fmt.Sprintf("write `%s: %s`", key, value), fmt.Sprintf("a space is missing after `%s:`", key))
	f.Fix = d.fix(line, col+1, 0, " ")
	d.Add(f)
	return true
}

// Mapping reads a mapping of which the keys are known; others are faults. A key that is
// not there has no entry.
func (d *Document) Mapping(n *yaml.Node, what string, keys ...string) map[string]*yaml.Node {
	out := map[string]*yaml.Node{}
	for _, p := range d.Entries(n, what) {
		key := p.Key.Value
		if slices.Contains(keys, key) {
			out[key] = p.Value
			continue
		}
		hint := d.DidYouMean(key, keys, "known here: "+strings.Join(keys, ", "))
		d.Fault(p.Key, hint, "unknown key %q in %s", key, what)
		if near, ok := meant(hint); ok && entry(n, near) == (Pair{}) && out[near] == nil {
			out[near] = p.Value // so that nothing follows from the slip
		}
	}
	return out
}

// nameLimit is the most characters a name may have.
const nameLimit = 80

// Named checks a name that is a key: that of a task, a rule, a baseline or a case.
func (d *Document) Named(n *yaml.Node, what string) bool {
	switch s := n.Value; {
	case n.Style == 0 && n.Tag != "!!str":
		d.Fault(n, "put the name in quotes", "the name of %s is %s, not text", what, KindName(n))
	case strings.TrimSpace(s) == "" || strings.TrimSpace(s) != s:
		d.Fault(n, "", "the name of %s is empty or has spaces around it", what)
	case utf8.RuneCountInString(s) > nameLimit:
		d.Fault(n, "", "the name of %s has more than %d characters", what, nameLimit)
	case strings.ContainsFunc(s, unprintable):
		d.unprintable(n, what)
	case strings.HasPrefix(s, "data:"):
		d.Fault(n, "names that begin with `data:` are reserved for data alarms", "the name %q is taken", s)
	default:
		return true
	}
	return false
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) }

// unprintable reports the first character of a name that nobody sees.
func (d *Document) unprintable(n *yaml.Node, what string) {
	at := strings.IndexFunc(n.Value, unprintable)
	r, _ := utf8.DecodeRuneInString(n.Value[at:])
	with, hint := "", "delete it"
	if unicode.IsSpace(r) {
		with, hint = " ", "write a plain space"
	}
	line, col := d.At(n, utf8.RuneCountInString(n.Value[:at]))
	f := d.FaultAt(line, col, 1, hint, fmt.Sprintf("the name of %s has a character (%U) that is not seen", what, r))
	f.Fix = d.fix(line, col, 1, with)
	d.Add(f)
}

// Text reads a scalar as text; n may be nil, which is "". Numbers, yes and no must be
// quoted, so that what is read is what was meant.
func (d *Document) Text(n *yaml.Node, what string) string {
	switch {
	case n == nil:
		return ""
	case n.Kind != yaml.ScalarNode:
		d.Fault(n, "", "%s must be text, not %s", what, KindName(n))
		return ""
	case n.Tag != "!!str" && n.Tag != "!!timestamp":
		f := d.NewFault(n, "put it in quotes", "%s must be text, not %s", what, KindName(n))
		d.instead(&f, n.Line, n.Column, d.width(n), strconv.Quote(n.Value))
		d.Add(f)
	case strings.TrimSpace(n.Value) == "":
		d.Fault(n, "give it a value or delete it", "%s is empty", what)
	}
	return n.Value
}

// Given reads a scalar as text that is to be looked at further; ok is false where
// n is nil or there is a fault.
func (d *Document) Given(n *yaml.Node, what string) (text string, ok bool) {
	before := d.Faulty()
	text = d.Text(n, what)
	return text, n != nil && d.Faulty() == before
}

// Items gives the entries of a list, or the one scalar, for each to be read by itself;
// n may be nil.
func (d *Document) Items(n *yaml.Node, what string) []*yaml.Node {
	if n != nil && n.Kind != yaml.ScalarNode && n.Kind != yaml.SequenceNode {
		d.Fault(n, "", "%s must be a list, not %s", what, KindName(n))
		return nil
	}
	return Items(n)
}

// Texts reads a list of texts, or one text; n may be nil.
func (d *Document) Texts(n *yaml.Node, what string) []string {
	if n != nil && n.Kind != yaml.ScalarNode && n.Kind != yaml.SequenceNode {
		d.Fault(n, "", "%s must be a list of texts, not %s", what, KindName(n))
		return nil
	}
	var out []string
	for _, c := range Items(n) {
		s := d.Text(c, what)
		if s != "" && slices.Contains(out, s) {
			d.Fault(c, "", "%s names %q twice", what, s)
			continue
		}
		out = append(out, s)
	}
	return out
}

// Choice reads one of the given texts and returns its index; the first where there is
// a fault or n is nil.
func (d *Document) Choice(n *yaml.Node, what string, options ...string) int {
	if n == nil {
		return 0
	}
	got := KindName(n)
	if n.Kind == yaml.ScalarNode {
		if i := slices.Index(options, n.Value); i >= 0 {
			return i
		}
		got = strconv.Quote(n.Value)
	}
	hint := d.DidYouMean(n.Value, options, "")
	text := fmt.Sprintf("%s must be %s, not %s", what, english.List("or", options), got)
	if u := unit.Spoken(n.Value); slices.Contains(options, u) {
		d.Instead(n, u, "%s", text)
	} else {
		d.Fault(n, hint, "%s", text)
	}
	return 0
}

// Yes reads yes or no; def where n is nil.
func (d *Document) Yes(n *yaml.Node, what string, def bool) bool {
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
	f := d.NewFault(n, "write yes or no, without quotes", "%s must be yes or no", what)
	if v := strings.ToLower(n.Value); v == "yes" || v == "no" {
		f.Fix = d.fix(n.Line, n.Column, d.width(n), v)
	}
	d.Add(f)
	return def
}
