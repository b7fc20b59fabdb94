package meter

import (
	"math"

	"telltale/rules/english"
	"telltale/rules/unit"
)

// slips are the usual ways to get a reading wrong, in order of preference. factor
// turns the face value into what was meant; sure is how far from that the true
// value may be: a rounded mile, or the digit that is not known.
var slips = map[Kind][]slip{
	Distance: {
		{"miles typed as kilometres", unit.Mile / 1000, unit.Mile},
		{"kilometres typed as miles", 1000 / unit.Mile, unit.Mile},
		{"a digit is missing", 10, 10_000},
		{"a digit too many", 0.1, 10_000},
	},
	Hours: {
		{"a digit is missing", 10, 36_000},
		{"a digit too many", 0.1, 36_000},
	},
}

type slip struct {
	words  string
	factor float64
	sure   float64
}

// dispute says why reading i does not fit its accepted neighbours, and which of
// the usual slips would make it fit. Of several it takes the one that comes
// nearest to where the neighbours put the meter at that moment.
func dispute(v *Verdict, nodes []Reading, accepted []bool, i int, kind Kind) {
	before, after := neighbours(nodes, accepted, i)
	r := nodes[i]
	v.Why = Implausible
	if before != nil && below(r.Value, before.Value) {
		v.Why = GoingBack
	}
	if r.Value < 0 || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return
	}
	expected := expect(before, after, r.At)
	nearest := math.Inf(1)
	for _, s := range slips[kind] {
		meant := float64(r.Value * s.factor)
		fit, ok := clampInto(Reading{At: r.At, Value: meant}, before, after, kind, s.sure)
		if off := math.Abs(meant - expected); ok && off < nearest {
			nearest = off
			v.Fits, v.Meant = fit, s.words+": "+face(fit, kind)+" would fit"
		}
	}
}

// expect is where the neighbours put the meter at a moment: between them in
// proportion to time, or level with the only one.
func expect(before, after *Reading, at int64) float64 {
	switch {
	case before == nil && after == nil:
		return 0
	case before == nil:
		return after.Value
	case after == nil || after.At == before.At:
		return before.Value
	}
	share := float64(at-before.At) / float64(after.At-before.At)
	return before.Value + float64(share*(after.Value-before.Value))
}

// clampInto moves r by at most sure so that it fits between its neighbours.
func clampInto(r Reading, before, after *Reading, kind Kind, sure float64) (float64, bool) {
	v := r.Value
	if before != nil {
		v = max(v, before.Value)
	}
	if after != nil {
		v = min(v, after.Value)
	}
	moved := Reading{At: r.At, Value: v}
	fits := math.Abs(v-r.Value) <= sure &&
		(before == nil || kind.follows(*before, moved)) && (after == nil || kind.follows(moved, *after))
	return v, fits
}

// face writes a value as people read it off the instrument.
func face(v float64, kind Kind) string {
	if kind == Hours {
		return english.Amount(v, "h")
	}
	return english.Amount(v, "km") + " (" + english.Amount(v, "mi") + ")"
}
