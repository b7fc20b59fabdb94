// Package figure finds the numbers that somebody decided in a task, rule or baseline, says
// where each comes from, and which are still to be filled in. It reads YAML and knows
// nothing of what the numbers are for.
package figure

import (
	"regexp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/source"
)

// Figure is a number that somebody decided: a limit, an interval, a mean, one
// within an expression or an advice; with where it comes from.
type Figure struct {
	Of     string // `task "engine oil"`
	Key    string // where in it: "every distance", "above caution"
	Value  string // as it is written
	Source string // "" where nobody says
	At     source.Place
}

// Sources are the figures of a task or a rule.
type Sources []Figure

// Of gives where the figure under a key comes from: that of the key itself, else of
// the first within it; "" where nobody says.
func (s Sources) Of(key string) string {
	for _, f := range s {
		if f.Key == key || strings.HasPrefix(f.Key, key+" ") {
			return f.Source
		}
	}
	return ""
}

// wordless are the keys under which no figure stands that needs a source: names,
// words for people, and what says whom it is about.
var wordless = []string{"title", "was", "where", "over", "on", "contains", "unknown history", "count from", "statutory", "part", "fluid",
	"cautions", "settled by", "stage", "points to", "masked", "source", "say", "pulls"}

// otherwise stands in `source` for the keys that it does not name.
const otherwise = "otherwise"

// Read reads the figures of an entry of a file, each with its source. what names the entry.
func Read(d *source.Document, what string, entry *yaml.Node) Sources {
	r := reader{d: d, what: what}
	r.walk(entry, sourceAt{}.under(source.Value(entry, "source")), nil)
	return r.out
}

// sourceAt is what `source` says at one key and under it: its text, or what it says
// of the keys below; and what is said of all else.
type sourceAt struct {
	n    *yaml.Node
	rest string
}

func (s sourceAt) under(n *yaml.Node) sourceAt {
	switch {
	case n == nil:
		return sourceAt{nil, s.rest}
	case n.Kind == yaml.ScalarNode:
		return sourceAt{nil, n.Value}
	}
	if o := source.Value(n, otherwise); o != nil && o.Kind == yaml.ScalarNode {
		s.rest = o.Value
	}
	return sourceAt{n, s.rest}
}

type reader struct {
	d    *source.Document
	what string
	out  Sources
}

func (r *reader) walk(n *yaml.Node, s sourceAt, path []string) {
	switch n.Kind {
	case yaml.MappingNode:
		for k, v := range source.Pairs(n) {
			key := k.Value
			if !slices.Contains(wordless, key) || len(path) == 1 && path[0] == "follow up" {
				r.walk(v, s.under(source.Value(s.n, key)), append(slices.Clip(path), key))
			}
		}
	case yaml.SequenceNode:
		for _, c := range n.Content {
			r.walk(c, s, path)
		}
	case yaml.ScalarNode:
		if n.Value == ToFill || holdsFigure(n.Value) {
			r.out = append(r.out, Figure{Of: r.what, Key: strings.Join(path, " "), Value: english.OneLine(n.Value), Source: s.rest, At: r.d.Place(n)})
		}
	}
}

var (
	figureIn   = regexp.MustCompile(`\$\{\s*[a-zA-Z]+\(\s*([0-9.]+)\s*\)\s*\}`) // within ${km(5000)}
	quotedText = regexp.MustCompile(`"[^"]*"|\$\{[^}]*\}`)
	bareNumber = regexp.MustCompile(`(?:^|[^\w.])(\d+(?:[.,]\d+)*)`)
	quantity   = regexp.MustCompile(`^\s*\d+ ?[^\d\s]`)
)

// holdsFigure reports whether a text holds a number that somebody decided: not 0 or
// 1 alone, nor what stands in quotes or is filled in.
func holdsFigure(s string) bool {
	for _, m := range bareNumber.FindAllStringSubmatch(quotedText.ReplaceAllString(figureIn.ReplaceAllString(s, "$1"), ""), -1) {
		if m[1] != "0" && m[1] != "1" || strings.TrimSpace(s) == m[1] {
			return true
		}
	}
	return quantity.MatchString(s)
}

// CheckSource checks `source` at n, nil for none: a text, or texts by the keys of what it
// stands in, and of what is within those.
func CheckSource(d *source.Document, n, of *yaml.Node, what string) {
	if n == nil {
		return
	}
	if n.Kind != yaml.MappingNode {
		d.Text(n, "source of "+what)
		return
	}
	var known []string
	for k := range source.Pairs(of) {
		if k.Value != "source" {
			known = append(known, k.Value)
		}
	}
	for _, p := range d.Entries(n, "source of "+what) {
		key := p.Key.Value
		within := source.Value(of, key)
		switch {
		case key == otherwise:
			d.Text(p.Value, "source of "+what)
		case within == nil:
			d.Fault(p.Key, d.DidYouMean(key, append(known, otherwise), "it names keys of "+what+", or `otherwise`"), "source of %s names %q, which it does not have", what, key)
		default:
			CheckSource(d, p.Value, within, what)
		}
	}
}

// SourceText is a source in a line, for a listing.
func SourceText(n *yaml.Node) string {
	switch {
	case n == nil:
		return ""
	case n.Kind == yaml.ScalarNode:
		return n.Value
	}
	var parts []string
	for k, v := range source.Pairs(n) {
		parts = append(parts, k.Value+": "+SourceText(v))
	}
	return strings.Join(parts, "; ")
}
