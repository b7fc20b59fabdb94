package rules

import (
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/unit"
)

// Sheet is another YAML file of the fleet's folder (the register, the people, the
// configuration), read as strictly as rule files are: unknown and repeated keys,
// aliases, second documents and empty values are faults, all collected and placed.
type Sheet struct {
	l *loader
	d *document
}

// Pair is one entry of a mapping with free keys.
type Pair struct{ Key, Value *yaml.Node }

// ReadSheet parses the file; root is nil where it cannot be read (see Err).
func ReadSheet(f File) (s *Sheet, root *yaml.Node) {
	l := &loader{nearBudget: nearWork}
	s = &Sheet{l: l, d: l.read(f)}
	for i, fault := range l.faults {
		if cure, ok := sheetCures[fault.Hint]; ok {
			l.faults[i].Hint = cure
		}
	}
	return s, s.d.root
}

// sheetCures replace the cures that help a rule file alone.
var sheetCures = map[string]string{
	"begin with `book: 1`": "write what it is to say, or delete it",
	"split it into several files of the folder; all files make one book": "",
	"put it into a file of its own":                                      "keep one of them",
}

// Err is a Faults with all that was found wrong so far, or nil.
func (s *Sheet) Err() error {
	if len(s.l.faults) == 0 {
		return nil
	}
	return s.l.faults.sorted()
}

// Fault reports what is wrong with a node; hint names the cure, "" where the text does.
func (s *Sheet) Fault(n *yaml.Node, hint, format string, args ...any) {
	s.d.fault(n, hint, format, args...)
}

// Mapping reads a mapping of which the keys are known; a key that is not there
// has no entry.
func (s *Sheet) Mapping(n *yaml.Node, what string, keys ...string) map[string]*yaml.Node {
	out := map[string]*yaml.Node{}
	for k, f := range s.d.mapping(n, what, keys...) {
		out[k] = f.value
	}
	return out
}

// Entries reads a mapping of which the keys are free names.
func (s *Sheet) Entries(n *yaml.Node, what string) []Pair {
	var out []Pair
	for _, f := range s.d.entries(n, what) {
		out = append(out, Pair{f.key, f.value})
	}
	return out
}

// Text reads a scalar as text; n may be nil, which is "".
func (s *Sheet) Text(n *yaml.Node, what string) string { return s.d.text(n, what) }

// Given reads a scalar as text that is to be looked at further; ok is false where
// n is nil or there is a fault.
func (s *Sheet) Given(n *yaml.Node, what string) (text string, ok bool) {
	before := len(s.l.faults)
	text = s.d.text(n, what)
	return text, n != nil && len(s.l.faults) == before
}

// Items gives the entries of a list, or the one scalar, for each to be read by
// itself; n may be nil.
func (s *Sheet) Items(n *yaml.Node, what string) []*yaml.Node {
	switch {
	case n == nil:
		return nil
	case n.Kind == yaml.ScalarNode:
		return []*yaml.Node{n}
	case n.Kind == yaml.SequenceNode:
		return n.Content
	}
	s.Fault(n, "", "%s must be a list, not %s", what, kindName(n))
	return nil
}

// Texts reads a list of texts, or one text; n may be nil.
func (s *Sheet) Texts(n *yaml.Node, what string) []string { return s.d.texts(n, what) }

// Choice reads one of the options and returns its index; 0 where n is nil.
func (s *Sheet) Choice(n *yaml.Node, what string, options ...string) int {
	return s.d.choice(n, what, options...)
}

// Yes reads yes or no; def where n is nil.
func (s *Sheet) Yes(n *yaml.Node, what string, def bool) bool { return s.d.yes(n, what, def) }

// Whole reads a whole number between least and most.
func (s *Sheet) Whole(n *yaml.Node, what string, least, most int) int {
	return s.d.whole(n, what, least, most)
}

// Quantity reads a number with a unit of one of the kinds, as written; ok is
// false where there is a fault.
func (s *Sheet) Quantity(n *yaml.Node, what string, kinds ...unit.Kind) (q unit.Quantity, ok bool) {
	if _, _, ok = s.d.quantity(n, what, kinds...); !ok {
		return q, false
	}
	q, err := unit.Parse(strings.TrimSpace(n.Value))
	return q, err == nil
}
