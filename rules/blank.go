package rules

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/source"
)

// toFill stands where a figure belongs that hangs on make or model: nobody but
// the user can know it. What holds one is checked, but left out until it is filled in.
const toFill = "fill in"

// standIns are values with which the rest of what holds `fill in` can be checked,
// by the keys it stands under; they are never judged by.
func standIn(path []string) string {
	last := path[len(path)-1]
	if len(path) == 3 && path[1] == "until" {
		return toFill // of a measure, whose unit is not known here
	}
	switch path[0] {
	case "every", "first":
		return map[string]string{"distance": "9000000 km", "time": "900 years", "hours": "9000000 h", "year": "1 January"}[last]
	case "early", "tolerance":
		return map[string]string{"distance": "1 m", "time": "1 days", "hours": "1 s", "tolerance": "0"}[last]
	case "above", "below":
		return "measure"
	case "mean", "spread", "fresh":
		return "1"
	case "fluid age":
		return "1 km"
	}
	return ""
}

// isBlank reports whether a figure is to be filled in here.
func isBlank(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Value == toFill && n.Style == 0
}

// blanks finds what is to be filled in within a task, rule or baseline, and puts
// values there with which the rest can be checked.
func (e *entry) blanks() []string {
	var found []string
	var walk func(n *yaml.Node, path []string)
	walk = func(n *yaml.Node, path []string) {
		for k, v := range source.Pairs(n) {
			walk(v, append(slices.Clip(path), k.Value))
		}
		if !isBlank(n) || len(path) == 0 {
			return
		}
		value := standIn(path)
		if value == "" {
			return // it stands where no figure does; what reads it says so
		}
		name := strings.Join(path, " ")
		found = append(found, fmt.Sprintf("%s, to be filled in at %s", name, e.Place(n)))
		e.l.book.ToFill = append(e.l.book.ToFill, e.NewFault(n, toFillHint(e.n, path), "%s of %s is to be filled in", name, e.what))
		switch n.Tag = "!!str"; {
		case slices.Contains(path, "until") || path[0] == "mean" || path[0] == "spread" || path[0] == "fresh":
			return // these are left out by one and one
		case value == "0":
			n.Tag = "!!int"
		}
		n.Value = value
	}
	walk(e.n, nil)
	return found
}

// toFillHint is where the figure is to be had: its source, as far as one is named.
func toFillHint(entry *yaml.Node, path []string) string {
	s := sourceAt{}.under(source.Value(entry, "source"))
	for _, key := range path {
		s = s.under(source.Value(s.n, key))
	}
	return cmp.Or(s.rest, "until then it is not judged; delete it if you do not need it")
}
