package source

import (
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Misplaced finds keys that stand too far left, among the names of entries or of sections,
// reports each, and reads it as one of the entry above it. sections are the keys of a file;
// entries has, of those that hold entries by name, the keys of such.
func (d *Document) Misplaced(root *yaml.Node, sections []string, entries map[string][]string) {
	if root.Kind != yaml.MappingNode {
		return
	}
	above, kind := &yaml.Node{}, ""
	for i := 0; i+1 < len(root.Content); i += 2 {
		k, v := root.Content[i], root.Content[i+1]
		if entries[k.Value] != nil {
			above, kind = v, k.Value
			d.amongEntries(v, kind, entries[kind])
			continue
		}
		section := slices.Contains(sections, k.Value) && !(slices.Contains(entries[kind], k.Value) && v.Kind != yaml.MappingNode)
		if n := len(above.Content); !section && above.Kind == yaml.MappingNode && n > 1 && d.moved(above.Content[n-2], above.Content[n-1], k, v, kind, entries[kind]) {
			root.Content = slices.Delete(root.Content, i, i+2)
			i -= 2
		}
	}
}

// amongEntries finds keys of entries among the names of entries.
func (d *Document) amongEntries(n *yaml.Node, kind string, keys []string) {
	if n.Kind != yaml.MappingNode {
		return
	}
	for i := 2; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		own := func(key *yaml.Node) bool { return slices.Contains(keys, key.Value) }
		if v.Kind == yaml.MappingNode && slices.ContainsFunc(v.Content, own) {
			continue // an entry, whatever its name
		}
		if d.moved(n.Content[i-2], n.Content[i-1], k, v, kind, keys) {
			n.Content = slices.Delete(n.Content, i, i+2)
			i -= 2
		}
	}
}

// moved reads a key as one of an entry, if that kind of entry has it and this one lacks it.
func (d *Document) moved(name, into, k, v *yaml.Node, kind string, keys []string) bool {
	if !slices.Contains(keys, k.Value) || into.Kind != yaml.MappingNode || Key(into, k.Value) != nil {
		return false
	}
	one := strings.TrimSuffix(kind, "s")
	f := d.NewFault(k, "", "`%s` stands too far left for a key of %s %q", k.Value, one, name.Value)
	f.Hint = fmt.Sprintf("indent it as the other keys of %s %q", one, name.Value)
	if len(into.Content) > 0 && into.Style&yaml.FlowStyle == 0 {
		indent := into.Content[0].Column - 1
		f.Hint += fmt.Sprintf(", by %d", indent)
		if v.Line == k.Line && v.Kind == yaml.ScalarNode || v.Style&yaml.FlowStyle != 0 {
			d.Fix(&f, k.Line, 1, k.Column-1, strings.Repeat(" ", indent))
		}
	}
	d.Add(f)
	into.Content = append(into.Content, k, v)
	return true
}
