package rules

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"sync"

	"gopkg.in/yaml.v3"
)

//go:embed cautions.yaml
var cautionsText []byte

// builtIn are the words of the cautions that every book may name.
var builtIn struct {
	once  sync.Once
	words map[string]string
}

func builtInCautions() map[string]string {
	builtIn.once.Do(func() {
		b, err := Load([]File{{Name: "cautions.yaml", Text: cautionsText}})
		if err != nil {
			panic(err) // a fault of this package, which its tests find
		}
		builtIn.words = b.OwnCautions
	})
	return builtIn.words
}

// CautionWords gives the words of a caution that every book may name; "" for
// another.
func CautionWords(name string) string { return builtInCautions()[name] }

// CautionNames are the cautions that every book may name, sorted.
func CautionNames() []string { return slices.Sorted(maps.Keys(builtInCautions())) }

// Own gives the words of those of the cautions that the book explains itself; nil
// where it explains none of them.
func (b *Book) Own(cautions []string) map[string]string {
	var out map[string]string
	for _, c := range cautions {
		if text, ok := b.OwnCautions[c]; ok {
			if out == nil {
				out = map[string]string{}
			}
			out[c] = text
		}
	}
	return out
}

// noCaution says that nothing needs minding, where work is asked for that touches
// no vehicle.
const noCaution = "none"

// caution reads the words of a caution of the book's own.
func (d *document) caution(key, n *yaml.Node) {
	if key.Value == noCaution {
		d.fault(key, "choose another name", "`none` says that nothing needs minding")
		return
	}
	if text := d.text(n, fmt.Sprintf("caution %q", key.Value)); text != "" {
		d.l.book.OwnCautions[key.Value] = text
	}
}

// cautions reads the names of cautions: an empty list for none, nil where they are
// missing.
func (d *document) cautions(n *yaml.Node, what string) []string {
	if n == nil {
		return nil
	}
	if n.Kind == yaml.ScalarNode && n.Value == noCaution {
		return []string{}
	}
	for _, c := range items(n) {
		if c.Kind == yaml.ScalarNode && c.Value != "" && CautionWords(c.Value) == "" {
			d.l.named = append(d.l.named, namedCaution{d, c})
		}
	}
	return d.texts(n, "cautions of "+what)
}

// namedCaution is a caution that the book must explain itself.
type namedCaution struct {
	d *document
	n *yaml.Node
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
			c.d.uncautioned(c.n, l.didYouMean(name, known, "explain it, in a file of the book: `cautions: {"+name+": what to do about it}`"),
				"nobody explains the caution %q", name)
		}
	}
}

// uncautioned reports work that a person could be hurt by for want of a word.
func (d *document) uncautioned(n *yaml.Node, hint, format string, args ...any) {
	d.l.book.Uncautioned = append(d.l.book.Uncautioned, d.makeFault(n.Line, n.Column, d.width(n), hint, fmt.Sprintf(format, args...)))
}

// mustMind reports work that is asked for without a caution.
func (d *document) mustMind(key *yaml.Node, what string) {
	d.uncautioned(key, "write `cautions: [hot fluid, raised vehicle]`, or `cautions: none` where nothing can hurt anyone",
		"%s asks for work, but names no cautions", what)
}
