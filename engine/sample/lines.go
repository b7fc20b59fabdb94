package sample

import (
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/stood"
	"telltale/rules/unit"
)

// Line is a sample in the list of a vehicle's: which it is, and what stood after it.
type Line struct {
	Component string   `json:"component"`
	Sample    event.ID `json:"sample"`
	Number    string   `json:"number"` // the laboratory's
	// Again says that a later sample of the component has the number too, of another
	// laboratory: the number alone finds that one first.
	Again      bool   `json:"again,omitempty"`
	Revision   int    `json:"revision,omitempty"`
	Corrected  bool   `json:"corrected,omitempty"` // it replaces an earlier report
	Laboratory string `json:"laboratory,omitempty"`
	Drawn      string `json:"drawn"` // local date
	// Run is where the meter stood, by distance or else by hours; FluidAge as in a Verdict.
	Run      *unit.Quantity `json:"run,omitempty"`
	FluidAge *unit.Quantity `json:"fluidAge,omitempty"`
	// Verdict is what stood after it, by the rules in force now.
	stood.Verdict
}

// Lines lists the samples that the record keeps, in order of component, the latest first;
// of one component where it is named.
func Lines(v *judge.View, component string) []Line {
	var out []Line
	for i, c := range v.Applied().Reg.Components {
		if component == "" || component == c.Name {
			out = append(out, linesOf(v, i)...)
		}
	}
	slices.SortStableFunc(out, func(a, b Line) int { return strings.Compare(a.Component, b.Component) })
	return out
}

func linesOf(v *judge.View, comp int) (out []Line) {
	t, after, seen := v.Timeline(comp), stood.Of(v, comp), map[string]bool{}
	for i := len(t.Steps) - 1; i >= 0; i-- {
		s := t.Steps[i].Sample
		if s == nil {
			continue
		}
		of := &sampleVerdict{view: v, comp: comp, t: t.UpTo(i)}
		of.x = v.FactsAt(comp, judge.SampleAt(&t.Steps[i]))
		of.age()
		out = append(out, Line{Component: s.Component, Sample: s.ID, Number: s.Number, Again: seen[s.Number], Revision: s.Revision, Corrected: corrected(v.Rec, s),
			Laboratory: s.Laboratory, Drawn: s.DrawnOn(v.Applied().Zone), Run: of.stoodAt(i), FluidAge: of.FluidAge, Verdict: after[s.ID]})
		seen[s.Number] = true
	}
	return out
}

// stoodAt is where the meter stood at step i; nil where no meter is known.
func (v *sampleVerdict) stoodAt(i int) *unit.Quantity {
	for _, kind := range []unit.Kind{unit.Distance, unit.Time} {
		if at := v.run(i, kind); at != nil {
			_, u := v.view.Shown(0, kind == unit.Time)
			return &unit.Quantity{Value: *at, Unit: u}
		}
	}
	return nil
}
