package figure

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/source"
)

// ToFill stands where a figure belongs that hangs on make or model: nobody but
// the user can know it. What holds one is checked, but left out until it is filled in.
const ToFill = "fill in"

// standIn is a value with which the rest of what holds `fill in` can be checked,
// by the keys it stands under; it is never judged by.
func standIn(path []string) string {
	last := path[len(path)-1]
	if len(path) == 3 && path[1] == "until" {
		return ToFill // of a measure, whose unit is not known here
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

// IsBlank reports whether a figure is to be filled in here.
func IsBlank(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Value == ToFill && n.Style == 0
}

// Blanks finds what is to be filled in within an entry of a file, and puts values there
// with which the rest can be checked. found names each for people, at says so in its place.
func Blanks(d *source.Document, what string, entry *yaml.Node) (found []string, at []source.Fault) {
	var walk func(n *yaml.Node, path []string)
	walk = func(n *yaml.Node, path []string) {
		for k, v := range source.Pairs(n) {
			walk(v, append(slices.Clip(path), k.Value))
		}
		if !IsBlank(n) || len(path) == 0 {
			return
		}
		value := standIn(path)
		if value == "" {
			return // it stands where no figure does; what reads it says so
		}
		name := strings.Join(path, " ")
		found = append(found, fmt.Sprintf("%s, to be filled in at %s", name, d.Place(n)))
		at = append(at, d.NewFault(n, toFillHint(entry, path), "%s of %s is to be filled in", name, what))
		switch n.Tag = "!!str"; {
		case slices.Contains(path, "until") || path[0] == "mean" || path[0] == "spread" || path[0] == "fresh":
			return // these are left out by one and one
		case value == "0":
			n.Tag = "!!int"
		}
		n.Value = value
	}
	walk(entry, nil)
	return found, at
}

// toFillHint is where the figure is to be had: its source, as far as one is named.
func toFillHint(entry *yaml.Node, path []string) string {
	s := sourceAt{}.under(source.Value(entry, "source"))
	for _, key := range path {
		s = s.under(source.Value(s.n, key))
	}
	return cmp.Or(s.rest, "until then it is not judged; delete it if you do not need it")
}
