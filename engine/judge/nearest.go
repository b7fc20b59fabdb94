package judge

import (
	"fmt"
	"maps"
	"strings"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/word"
)

// Nearest is the fluid that a sample is nearest to, other than its own.
type Nearest struct {
	Name string // for people: "the fluid of the transmission", "the fresh fluid of fleet oil"
	lab.Nearer
}

// bottle is a fluid that the sample could be of, as it is when fresh.
type bottle struct {
	name  string
	fresh map[string]float64
}

// bottles are the fluids of the vehicle's other components, then all of the book, but for
// the sample's own.
func (x *Facts) bottles() []bottle {
	var out []bottle
	a := x.v.Applied()
	add := func(name string, fresh map[string]float64) {
		if fresh != nil && !maps.Equal(fresh, x.Sheet.Fresh) {
			out = append(out, bottle{name, fresh})
		}
	}
	for i := range a.Comps {
		if i != x.of {
			add("the fluid of the "+a.Comps[i].Name, freshOf(a.Rules, i))
		}
	}
	for _, b := range x.v.Book.Baselines {
		add("the fresh fluid of "+b.Name, b.Fresh)
	}
	return out
}

// freshOf is what a component's fluid holds when new; nil where the book does not say.
func freshOf(a *rules.Applied, comp int) map[string]float64 {
	if b := a.Baselines[comp]; b != nil && b.Fresh != nil {
		return b.Fresh
	}
	if a.Instead != nil && a.Instead[comp] != nil {
		return a.Instead[comp].Fresh
	}
	return nil
}

// Nearest is the other fluid that the sample is nearest to; why says what is missing.
func (x *Facts) Nearest() (n Nearest, why string, ok bool) {
	if _, why, ok = x.Sheet.FluidDistance(x.Sheet.Fresh); !ok {
		return n, why, false
	}
	found := false
	for _, b := range x.bottles() {
		if got, ok := x.Sheet.NearerTo(x.Sheet.Fresh, b.fresh); ok && (!found || got.Other < n.Other) {
			n, found = Nearest{b.name, got}, true
		}
	}
	if !found {
		return n, "another fluid whose fresh values the book gives", false
	}
	return n, "", true
}

func (x *Facts) nearerFluid(string) (bool, string, bool) {
	n, why, ok := x.Nearest()
	return ok && n.Clearly(), why, ok
}

func (x *Facts) nearestNote(word.Word, string) string {
	n, _, ok := x.Nearest()
	if !ok {
		return ""
	}
	return "nearest other fluid: " + n.Words()
}

// Words tell how near, and by what.
func (n *Nearest) Words() string {
	return fmt.Sprintf("%s (by %s: %s times the method's error from it, %s from its own)",
		n.Name, strings.Join(n.Marks, ", "), english.Short(n.Other), english.Short(n.Own))
}
