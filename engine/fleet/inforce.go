package fleet

import (
	"slices"
	"time"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/word"
)

// InForce is the set of baselines that samples are compared with as they arrive.
type InForce struct {
	Hash string // "" before the first
	Set  *Set   // nil where its text is gone
}

// Gone is what is noted where the set's text is gone.
func (i *InForce) Gone() *Figures { return &Figures{Set: i.Hash} }

// Waiting is what is noted of a sample of a vehicle that nobody registered.
func (i *InForce) Waiting() *Figures {
	if i.Set == nil {
		return i.Gone()
	}
	f := i.blank()
	f.Waits = true
	return f
}

func (i *InForce) blank() *Figures {
	return &Figures{Set: i.Hash, Number: i.Set.Number, Of: i.Set.Now.UTC().Format(time.DateOnly)}
}

// Figures are what the set says of a sample's results, for a component with that
// baseline of the book; nil where the set has nothing for it.
func (i *InForce) Figures(b *rules.Baseline, v *word.Vehicle, c *word.Component, results []lab.Result) *Figures {
	if i.Set == nil {
		return i.Gone()
	}
	if b == nil || b.Fleet == nil {
		return nil
	}
	at := slices.IndexFunc(i.Set.Baselines, func(o Baseline) bool { return o.Name == b.Name && o.Definition == b.Definition() })
	if at < 0 {
		return nil // the book has changed since; a survey by this one follows
	}
	f := i.blank()
	f.Baseline, f.Group, f.Need = b.Name, b.Fleet.Group(v, c), [2]int{b.Fleet.Samples, b.Fleet.Vehicles}
	for k := range i.Set.Baselines[at].Groups {
		if g := &i.Set.Baselines[at].Groups[k]; slices.Equal(g.Of, f.Group) {
			f.compare(g, results)
		}
	}
	return f
}
