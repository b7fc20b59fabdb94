package meter

import (
	"math"
	"slices"
	"strconv"

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
	g := guess{r, before, after, kind, expect(before, after, r.At)}
	v.Meant = g.nearest(math.Inf(1))
}

// Slip is which of the usual slips would have a reading lie nearer to where it is expected
// after the one before it, by far: no further off than a tenth. The zero Meant where none does.
func Slip(r, before Reading, expected float64, kind Kind) Meant {
	g := guess{r, &before, nil, kind, expected}
	return g.nearest(math.Abs(r.Value-expected) / 10)
}

// guess is what a reading was meant to be, beside its neighbours, nil where there is none,
// and where it was expected.
type guess struct {
	Reading
	before, after *Reading
	kind          Kind
	expected      float64
}

// nearest is the slip that comes nearest to what was expected, if nearer than least.
func (g *guess) nearest(least float64) (m Meant) {
	take := func(meant float64, slip string, sure float64) {
		fit, ok := clampInto(Reading{At: g.At, Value: meant}, g.before, g.after, g.kind, sure)
		if off := math.Abs(meant - g.expected); ok && off < least {
			least, m = off, Meant{slip, fit}
		}
	}
	for _, s := range slips[g.kind] {
		take(float64(g.Value*s.factor), s.words, s.sure)
	}
	for _, meant := range swapped(g.Value, g.kind) {
		take(meant, "two digits swapped", 0)
	}
	return m
}

// swapped are the values that whole numbers may stand for of which two digits side by side
// were swapped, in each unit in which the value is a whole number of three digits or more.
func swapped(v float64, kind Kind) (out []float64) {
	units := []float64{1000, unit.Mile}
	if kind == Hours {
		units = []float64{3600}
	}
	for _, u := range units {
		n := math.Round(v / u)
		if n < 100 || n > 1e9 || math.Abs(v/u-n) > 1e-6 {
			continue
		}
		digits := []byte(strconv.FormatFloat(n, 'f', 0, 64))
		for i := range len(digits) - 1 {
			if digits[i] == digits[i+1] || i == 0 && digits[1] == '0' {
				continue
			}
			other := slices.Clone(digits)
			other[i], other[i+1] = other[i+1], other[i]
			meant, _ := strconv.ParseFloat(string(other), 64)
			out = append(out, meant*u)
		}
	}
	return out
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
