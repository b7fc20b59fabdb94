package fleet

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/word"
)

// Figures is what the baselines of the fleet in force say of a sample. It is
// reckoned once, as the sample arrives, and kept with it: a set that comes later
// judges later samples only, and the sample is judged alike whenever it is judged.
type Figures struct {
	Set    string `json:"set"` // the hash of the set
	Number int    `json:"number"`
	Of     string `json:"of"` // the date of the survey
	// Waits says that nobody had registered the vehicle when the sample arrived. All
	// else is then absent, as it is where the set's text was gone.
	Waits    bool     `json:"waits,omitempty"`
	Baseline string   `json:"baseline,omitempty"`
	Group    []string `json:"group,omitempty"`
	Samples  int      `json:"samples,omitempty"` // of the group; 0 where there was no such group
	Vehicles int      `json:"vehicles,omitempty"`
	Age      *float64 `json:"age,omitempty"`   // of the group's fluids, in metres
	Hours    bool     `json:"hours,omitempty"` // ages are in seconds of running instead
	Need     [2]int   `json:"need"`            // samples and vehicles, for an analyte
	// Analytes are those of the sample.
	Analytes map[string]Figure `json:"analytes,omitempty"`
}

// Figure is what a group says of one result. Mean, Age and Place are absent
// where the group is too small to judge by.
type Figure struct {
	N        int       `json:"n"`
	Vehicles int       `json:"vehicles"`
	Mean     *lab.Span `json:"mean,omitempty"`
	SD       *float64  `json:"sd,omitempty"`    // the standard deviation, where it is known
	Age      *float64  `json:"age,omitempty"`   // of at least half of the samples
	Place    *lab.Span `json:"place,omitempty"` // 0 to 1: the least and the greatest it can be
}

// compare takes over what the group says of the results.
func (f *Figures) compare(g *Group, results []lab.Result) {
	f.Samples, f.Vehicles, f.Age, f.Hours = g.Samples, g.Vehicles, g.Age, g.Hours
	f.Analytes = map[string]Figure{}
	for _, r := range results {
		i, ok := slices.BinarySearchFunc(g.Analytes, r.Analyte, func(a Analyte, name string) int { return strings.Compare(a.Analyte, name) })
		if !ok {
			continue
		}
		a := &g.Analytes[i]
		fig := Figure{N: a.N, Vehicles: a.Vehicles}
		if a.Usable {
			span := r.Span()
			fig.Mean, fig.SD = a.Mean, a.SD
			fig.Place = &lab.Span{Low: a.place(span.Low).Low, High: a.place(span.High).High}
			if 2*a.Aged >= a.N {
				fig.Age = a.Age
			}
		}
		f.Analytes[r.Analyte] = fig
	}
}

// For is what the figures say of an analyte for a baseline; nil, and what is
// missing, where they say nothing that can be used.
func (f *Figures) For(b *rules.Baseline, analyte string) (fig *Figure, missing string) {
	what := fmt.Sprintf("the fleet's baseline %q", b.Name)
	if f != nil && f.Baseline == "" && !f.Waits {
		return nil, fmt.Sprintf("%s: the text of %s, in force when the sample arrived, is gone", what, rules.ShortHash(f.Set))
	}
	if f == nil || f.Baseline != b.Name {
		return nil, what + ", which was not made yet when the sample arrived"
	}
	got := f.Analytes[analyte]
	switch {
	case got.N < f.Need[0] || got.Vehicles < f.Need[1]:
		return nil, fmt.Sprintf("enough samples of %s for %s in %s (there were %s from %s; it needs %s from %s)",
			f.GroupWords(), analyte, what, english.Plural(got.N, "sample"), english.Plural(got.Vehicles, "vehicle"),
			english.Plural(f.Need[0], "sample"), english.Plural(f.Need[1], "vehicle"))
	case got.Mean == nil:
		return nil, fmt.Sprintf("a sample of %s in which %s was found, for %s", f.GroupWords(), analyte, what)
	}
	return &got, ""
}

// GroupWords name the group: what its samples share.
func (f *Figures) GroupWords() string {
	if s := strings.Join(f.Group, ", "); s != "" {
		return s
	}
	return "all together"
}

// source is where the figures come from, for people.
func (f *Figures) source() string {
	return fmt.Sprintf("%s of %s of the fleet (%s), number %d of %s", english.Plural(f.Samples, "sample"), english.Plural(f.Vehicles, "vehicle"), f.GroupWords(), f.Number, f.Of)
}

// Show puts the figures into a baseline.
func (f *Figures) Show(b *rules.Baseline) {
	b.Source, b.Mean, b.Spread = f.source(), map[string]float64{}, map[string]float64{}
	for a, fig := range f.Analytes {
		if fig.SD != nil {
			b.Spread[a] = *fig.SD
		}
		if fig.Mean != nil && fig.Mean.Low == fig.Mean.High && fig.Mean.High > 0 {
			b.Mean[a] = fig.Mean.High
		}
	}
	switch {
	case f.Age == nil:
	case f.Hours:
		b.FluidAge.Hours = *f.Age
	default:
		b.FluidAge.Distance = *f.Age
	}
}

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
