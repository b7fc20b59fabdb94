// Package grouped says into which groups of the fleet's samples a vehicle's components fall,
// and which limits are kept on them. It asks a judge.View and changes nothing.
package grouped

import (
	"telltale/engine/fleet"
	"telltale/engine/judge"
	"telltale/rules"
)

// each visits the components that have a baseline made from the fleet, with their group.
func each(v *judge.View, visit func(component int, b *rules.Baseline, of []string)) {
	a := v.Applied()
	for i := range a.Comps {
		if b := a.Rules.Baselines[i]; b != nil && b.Fleet != nil {
			visit(i, b, b.Fleet.Group(&a.Vehicle, &a.Comps[i]))
		}
	}
}

// Groups are those of the vehicle, by the baseline and by what they share alone.
func Groups(v *judge.View) (out []fleet.Listing) {
	each(v, func(_ int, b *rules.Baseline, of []string) {
		out = append(out, fleet.Listing{Baseline: b.Name, Group: fleet.Group{Of: of}})
	})
	return out
}

// Limits are the rules with limits on one analyte that are kept on such components, for
// [fleet.Audit].
func Limits(v *judge.View) (out []fleet.Audited) {
	each(v, func(component int, b *rules.Baseline, of []string) {
		for _, ar := range v.Applied().Rules.Rules {
			if ar.Component != component || ar.Rule.On&rules.OnSample == 0 || len(ar.Rule.ToFill) > 0 {
				continue
			}
			if one, ok := fleet.AuditOf(b, of, ar.Rule); ok {
				out = append(out, one)
			}
		}
	})
	return out
}
