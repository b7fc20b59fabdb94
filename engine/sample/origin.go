package sample

import (
	"math"

	"telltale/engine/lab"
	"telltale/engine/origin"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// origin reads where the elements come from that are more than usual.
func (v *sampleVerdict) origin() *origin.Reading {
	var excesses []origin.Excess
	seen := map[string]bool{}
	for i := range v.Results {
		r := &v.Results[i]
		a, _ := analytes.Of(r.Analyte)
		if r.Low == nil || a.Kind != unit.Concentration || seen[r.Analyte] {
			continue
		}
		seen[r.Analyte] = true
		if e, _, ok := v.x.Excess(r.Analyte); ok {
			excesses = append(excesses, excess(r, &e))
		}
	}
	return origin.Of(excesses)
}

// excess takes the middle of what a result below its limit leaves open; one above its
// limit has no middle, and cannot be weighed. Where there is less than usual, the method's
// error at what is usual counts: the one at nothing is nearly nothing.
func excess(r *Result, e *lab.Excess) origin.Excess {
	usual := e.Value - e.Excess
	out := origin.Excess{Analyte: r.Analyte, Value: float64((*r.Low+*r.High)/2) - usual, Error: e.Error, Half: (*r.High - *r.Low) / 2}
	if usual > e.Value {
		out.Error = math.Max(e.Error, lab.PrecisionOf(r.Analyte).Limit(usual, false)/math.Sqrt2)
	}
	return out
}
