package sheets

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"telltale/engine/lab"
)

// laboratory is how one prints a vehicle's sheets.
type laboratory struct {
	three    bool // iron, copper and silicon alone
	left     []string
	needs    []string
	floor    float64 // below which it prints "<", for metals; 0 where it prints noughts
	floorTwo float64 // for sodium, potassium and boron
	other    bool    // not the one that measured what is usual
	bias     map[string]float64
}

var (
	cheapest = []string{"Fe", "Cu", "Si"}
	basic    = []string{"Fe", "Cr", "Cu", "Pb", "Sn", "Al", "Ni", "Si", "Na", "K", "KV100", "water"}
	full     = slices.Concat(basic, []string{"B", "Mg", "Ca", "Zn", "P", "Mo", "TBN", "soot", "fuel", "oxidation", "nitration"})
	rare     = []string{"TAN", "flash", "glycol", "ferrous", "particles4", "particles6", "particles14"}
)

// newLaboratory chooses what is measured: all, the usual, or three metals where a sheet
// of these would show the cause; and takes out some of what nobody needs.
func newLaboratory(r *rand.Rand, c *Cause) laboratory {
	l := laboratory{needs: c.needs, bias: map[string]float64{}}
	switch p := r.Float64(); {
	case p < .12 && c.ThreeMetals != nil:
		l.three, l.left, l.needs = true, cheapest, nil
	case p < .4:
		l.left = basic
	default:
		l.left = slices.Clone(full)
		for _, a := range rare {
			if r.Float64() < .2 && !strings.HasPrefix(a, "particles") {
				l.left = append(l.left, a)
			}
		}
	}
	if !l.three && r.Float64() < .3 {
		l.left = slices.Clone(l.left)
		for range 1 + r.IntN(3) {
			i := r.IntN(len(l.left))
			l.left = slices.Delete(l.left, i, i+1)
		}
	}
	l.left = slices.DeleteFunc(slices.Clone(l.left), func(a string) bool { return slices.Contains(c.hidden, a) })
	l.floor = []float64{0, 1, 1, 2}[r.IntN(4)]
	l.floorTwo = []float64{l.floor, l.floor, 5}[r.IntN(3)]
	l.other = r.Float64() < .2
	return l
}

// print writes the results as the laboratory measured and rounded them.
func (l *laboratory) print(r *rand.Rand, o *oil) string {
	var b strings.Builder
	for _, f := range o.m.figures {
		if a := f.analyte; slices.Contains(l.left, a) || slices.Contains(l.needs, a) {
			b.WriteString(" " + a + " " + l.written(a, l.measured(r, a, o.v[a])))
		}
	}
	return b.String()
}

// relative is a laboratory's repeatability of what has no table of ASTM's here, as a
// standard deviation: a share of the value, and so much at least. From memory.
var relative = map[string]struct{ share, least float64 }{
	"TBN": {.02, .1}, "TAN": {.03, .05}, "flash": {0, 3}, "oxidation": {.03, .5}, "nitration": {.03, .5}, "soot": {.05, .05}, "fuel": {.05, .1},
	"water": {.05, .005}, "glycol": {.1, .01}, "ferrous": {.06, 1}, "particles4": {.1, 0}, "particles6": {.1, 0}, "particles14": {.1, 0},
}

// measured is the value with the method's error: repeatability, and in another
// laboratory what reproducibility has beyond it, the same on all of its sheets.
func (l *laboratory) measured(r *rand.Rand, analyte string, v float64) float64 {
	one, two := deviations(analyte, v)
	if _, known := l.bias[analyte]; !known {
		l.bias[analyte] = r.NormFloat64()
	}
	v += float64(one * r.NormFloat64())
	if l.other {
		v += float64(math.Sqrt(math.Max(0, float64(two*two)-float64(one*one))) * l.bias[analyte])
	}
	return math.Max(0, v)
}

// deviations are the standard deviations in one laboratory and between two.
func deviations(analyte string, v float64) (one, two float64) {
	if e, ok := relative[analyte]; ok {
		one = math.Hypot(e.share*v, e.least)
		return one, 2 * one
	}
	const times = 2.77 // r is 1.96 √2 standard deviations (ISO 5725-6, from memory)
	p := lab.PrecisionOf(analyte)
	return p.Limit(v, true) / times, p.Limit(v, false) / times
}

// decimals is how many are printed of what is no metal.
var decimals = map[string]int{"KV100": 1, "TBN": 1, "TAN": 2, "soot": 1, "fuel": 1, "water": 2, "glycol": 2, "oxidation": 0, "nitration": 0}

// least is what a laboratory tells from nothing, of what is no metal.
var least = map[string]float64{"water": .05, "glycol": .05, "fuel": .5, "soot": .1}

// written is the value as printed.
func (l *laboratory) written(analyte string, v float64) string {
	under := l.floor
	switch {
	case least[analyte] > 0:
		under = least[analyte]
	case decimals[analyte] > 0:
		under = 0
	case analyte == "Na" || analyte == "K" || analyte == "B":
		under = l.floorTwo
	}
	text := strconv.FormatFloat(v, 'f', decimals[analyte], 64)
	if printed, _ := strconv.ParseFloat(text, 64); printed < under {
		return "<" + strconv.FormatFloat(under, 'g', -1, 64)
	}
	return text
}
