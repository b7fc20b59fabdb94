package rules

import (
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/source"
)

// keysOf are the keys of the entries of each section.
var keysOf = map[string][]string{"tasks": taskKeys, "rules": slices.Concat(sharedKeys, measuredKeys, patternKeys),
	"baselines": baselineKeys, "cases": caseKeys}

// misplaced finds keys that stand too far left, among the names of entries or of sections,
// reports each, and reads it as one of the entry above it.
func (e *entry) misplaced() {
	if e.n.Kind != yaml.MappingNode {
		return
	}
	above, kind := &yaml.Node{}, ""
	for i := 0; i+1 < len(e.n.Content); i += 2 {
		k, v := e.n.Content[i], e.n.Content[i+1]
		if keysOf[k.Value] != nil {
			above, kind = v, k.Value
			e.amongEntries(v, kind)
			continue
		}
		section := slices.Contains(topKeys, k.Value) && !(k.Value == "cautions" && v.Kind != yaml.MappingNode)
		if n := len(above.Content); !section && above.Kind == yaml.MappingNode && n > 1 && e.moved(above.Content[n-2], above.Content[n-1], k, v, kind) {
			e.n.Content = slices.Delete(e.n.Content, i, i+2)
			i -= 2
		}
	}
}

// amongEntries finds keys of entries among the names of entries.
func (e *entry) amongEntries(n *yaml.Node, kind string) {
	if n.Kind != yaml.MappingNode {
		return
	}
	for i := 2; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		own := func(key *yaml.Node) bool { return slices.Contains(keysOf[kind], key.Value) }
		if v.Kind == yaml.MappingNode && slices.ContainsFunc(v.Content, own) {
			continue // an entry, whatever its name
		}
		if e.moved(n.Content[i-2], n.Content[i-1], k, v, kind) {
			n.Content = slices.Delete(n.Content, i, i+2)
			i -= 2
		}
	}
}

// moved reads a key as one of an entry, if that kind of entry has it and this one lacks it.
func (e *entry) moved(name, into, k, v *yaml.Node, kind string) bool {
	if !slices.Contains(keysOf[kind], k.Value) || into.Kind != yaml.MappingNode || source.Key(into, k.Value) != nil {
		return false
	}
	one := strings.TrimSuffix(kind, "s")
	f := e.NewFault(k, "", "`%s` stands too far left for a key of %s %q", k.Value, one, name.Value)
	f.Hint = fmt.Sprintf("indent it as the other keys of %s %q", one, name.Value)
	if len(into.Content) > 0 && into.Style&yaml.FlowStyle == 0 {
		indent := into.Content[0].Column - 1
		f.Hint += fmt.Sprintf(", by %d", indent)
		if v.Line == k.Line && v.Kind == yaml.ScalarNode || v.Style&yaml.FlowStyle != 0 {
			e.Document.Fix(&f, k.Line, 1, k.Column-1, strings.Repeat(" ", indent))
		}
	}
	e.Add(f)
	into.Content = append(into.Content, k, v)
	return true
}
