package rules

import (
	_ "embed"
	"maps"
	"slices"
	"sync"

	"gopkg.in/yaml.v3"

	"telltale/rules/source"
)

//go:embed cautions.yaml
var cautionsText []byte

// builtInCautions are the words of the cautions that every book may name.
var builtInCautions = sync.OnceValue(func() map[string]string {
	var file struct{ Cautions map[string]string }
	if err := yaml.Unmarshal(cautionsText, &file); err != nil {
		panic(err) // a fault of this package, which its tests find
	}
	return file.Cautions
})

// CautionWords gives the words of a caution that every book may name; "" for
// another.
func CautionWords(name string) string { return builtInCautions()[name] }

// CautionNames are the cautions that every book may name, sorted.
func CautionNames() []string { return slices.Sorted(maps.Keys(builtInCautions())) }

// Own gives the words of those of the cautions that the book explains itself; nil
// where it explains none of them.
func (b *Book) Own(cautions []string) map[string]string {
	out := maps.Clone(b.OwnCautions)
	maps.DeleteFunc(out, func(name, _ string) bool { return !slices.Contains(cautions, name) })
	if len(out) == 0 {
		return nil
	}
	return out
}

// noCaution says that nothing needs minding, where work is asked for that touches
// no vehicle.
const noCaution = "none"

// caution reads the words of a caution of the book's own.
func (e *entry) caution() {
	if e.key.Value == noCaution {
		e.Fault(e.key, "choose another name", "`none` means that there is no caution")
	} else if text := e.Text(e.n, e.what); text != "" {
		e.l.book.OwnCautions[e.key.Value] = text
	}
}

// cautions reads the names of cautions: an empty list for none, nil where they are
// missing.
func (e *entry) cautions(n *yaml.Node, what string) []string {
	if n != nil && n.Kind == yaml.ScalarNode && n.Value == noCaution {
		return []string{}
	}
	for _, c := range source.Items(n) {
		if c.Kind == yaml.ScalarNode && c.Value != "" && CautionWords(c.Value) == "" {
			e.l.named = append(e.l.named, &entry{Document: e.Document, l: e.l, n: c})
		}
	}
	return e.Texts(n, "cautions of "+what)
}

// unexplained finds the cautions that neither the book nor this package explains.
func (l *loader) unexplained() {
	if len(l.named) == 0 {
		return
	}
	known := slices.Concat(CautionNames(), slices.Sorted(maps.Keys(l.book.OwnCautions)))
	for _, c := range l.named {
		name := c.n.Value
		if _, ok := l.book.OwnCautions[name]; !ok {
			c.uncautioned(c.n, l.DidYouMean(name, known, "explain it, in a file of the book: `cautions: {"+name+": what to do about it}`"),
				"the caution %q is not explained", name)
		}
	}
}

// uncautioned reports work that a person could be hurt by for want of a word.
func (e *entry) uncautioned(n *yaml.Node, hint, format string, args ...any) {
	if e.Hole(n) {
		return
	}
	e.l.book.Uncautioned = append(e.l.book.Uncautioned, e.NewFault(n, hint, format, args...))
}

// mustMind reports work that is asked for without a caution.
func (e *entry) mustMind(what string) {
	e.uncautioned(e.key, "write `cautions: [hot fluid, raised vehicle]`, or `cautions: none` where nothing can hurt anyone",
		"%s asks for work, but names no cautions", what)
}
