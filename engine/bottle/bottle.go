// Package bottle tells which of the fluids that a sample could be of it is nearest to: those
// of the vehicle's other components, then all of the book. It is pure.
package bottle

import (
	"fmt"
	"maps"
	"strings"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
	"telltale/rules/word"
)

// Nearest is the fluid that a sample is nearest to, other than its own.
type Nearest struct {
	Name string // for people: "the fluid of the transmission", "the fresh fluid of fleet oil"
	lab.Nearer
}

// Bottle is a fluid that the sample could be of, as it is when fresh.
type Bottle struct {
	name  string
	fresh map[string]float64
}

// All are the fluids of the vehicle's other components, then all of the book, but for the
// sample's own, which holds that much when fresh.
func All(b *rules.Book, a *applies.Parts, comps []word.Component, of int, own map[string]float64) []Bottle {
	var out []Bottle
	add := func(name string, fresh map[string]float64) {
		if fresh != nil && !maps.Equal(fresh, own) {
			out = append(out, Bottle{name, fresh})
		}
	}
	for i := range comps {
		if i != of {
			add("the fluid of the "+comps[i].Name, freshOf(a, i))
		}
	}
	for _, b := range b.Baselines {
		add("the fresh fluid of "+b.Name, b.Fresh)
	}
	return out
}

// freshOf is what a component's fluid holds when new; nil where the book does not say.
func freshOf(a *applies.Parts, comp int) map[string]float64 {
	if b := a.Baselines[comp]; b != nil && b.Fresh != nil {
		return b.Fresh
	}
	if a.Instead != nil && a.Instead[comp] != nil {
		return a.Instead[comp].Fresh
	}
	return nil
}

// Of is the other fluid that the sample is nearest to; why says what is missing.
func Of(s *lab.Sheet, all []Bottle) (n Nearest, why string, ok bool) {
	if _, why, ok = s.FluidDistance(s.Fresh); !ok {
		return n, why, false
	}
	found := false
	for _, b := range all {
		if got, ok := s.NearerTo(s.Fresh, b.fresh); ok && (!found || got.Other < n.Other) {
			n, found = Nearest{b.name, got}, true
		}
	}
	if !found {
		return n, "another fluid whose fresh values the book gives", false
	}
	return n, "", true
}

// Words tell how near, and by what.
func (n *Nearest) Words() string {
	return fmt.Sprintf("%s (by %s: %s times the method's error from it, %s from its own)",
		n.Name, strings.Join(n.Marks, ", "), english.Short(n.Other), english.Short(n.Own))
}
