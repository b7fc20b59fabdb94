package rules

import (
	"fmt"
	"math"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// Off is where a stage ends whose limit is that: the measure must have come back past it.
func (r *Rule) Off(limit float64) float64 {
	band := r.Band + float64(math.Abs(limit)*r.Deadband)
	if r.Below {
		return limit + band
	}
	return limit - band
}

// bandForm is how a deadband is written.
type bandForm int

const (
	noBand   bandForm = iota
	aShare            // 10%
	aNumber           // 0.5: only where limits are zero or less
	withUnit          // 2 mm2/s
)

// deadband reads "10%", "2 mm2/s" or, for limits that are zero or less, a number.
func (rr *ruleReader) deadband() bandForm {
	n, what := rr.f["deadband"], "deadband of "+rr.what
	switch {
	case n == nil:
		return noBand
	case n.Kind != yaml.ScalarNode || strings.HasSuffix(strings.TrimSpace(n.Value), "%"):
		v, ok := rr.Share(n, what)
		if ok && v >= 1 {
			rr.Fault(n, "5% to 20% are usual", "%s must be under 100%%", what)
		}
		rr.r.Deadband = v
		return aShare
	case n.Tag == "!!int" || n.Tag == "!!float":
		rr.r.Band, _ = rr.Number(n, what)
	default:
		if !rr.bandWithUnit(n, what) {
			return noBand
		}
	}
	switch {
	case rr.r.Band < 0:
		rr.Fault(n, "", "%s must not be negative", what)
		return noBand
	case n.Tag == "!!int" || n.Tag == "!!float":
		return aNumber
	}
	return withUnit
}

// bandWithUnit reads a deadband with a unit, which must be one that the measure is in.
func (rr *ruleReader) bandWithUnit(n *yaml.Node, what string) bool {
	c := rr.r.compiled.measure
	if c == nil {
		return false
	}
	kind, in, ok := c.Alone()
	if _, err := unit.Parse(n.Value); !ok && err == nil {
		rr.Fault(n, "write a share, like 10%", "%s has a unit, but what it measures has none, or more than one", what)
		return false
	} else if !ok {
		rr.Share(n, what) // the fault
		return false
	}
	q, ok := rr.Quantity(n, what, kind)
	if !ok {
		return false
	}
	rr.r.Band = difference(q.Value, q.Unit) / difference(1, in)
	return true
}

// difference is one of two quantities in the base unit: 9 degF are 5 degC.
func difference(v float64, in string) float64 {
	base, _, _ := unit.Base(v, in)
	nothing, _, _ := unit.Base(0, in)
	return base - nothing
}

// fitsLimits checks the form of the deadband against the limits: a share of a limit that
// is zero or less is nothing or turned round, and a number beside one over zero is soon
// taken for a share.
func (rr *ruleReader) fitsLimits(form bandForm) {
	n, r := rr.f["deadband"], rr.r
	for s := Advisory; s <= Warning; s++ {
		c := r.compiled.limits[s]
		if c == nil {
			continue
		}
		limit, constant := c.Constant()
		switch {
		case form == aShare && r.Deadband > 0 && constant && limit <= 0:
			rr.Fault(n, "write a number in what the measure is in, like "+rr.bandExample("0.5"), "deadband of %s is a share, but its limit for %s, %s, is not over zero",
				rr.what, StageNames[s], english.Number(limit))
			return
		case form == aNumber && r.Band > 0 && (!constant || limit > 0):
			rr.Fault(n, rr.bandHint(n.Value), "deadband of %s: %s is neither a share nor has a unit", rr.what, n.Value)
			return
		}
	}
}

// bandHint is how a bare number may have been meant.
func (rr *ruleReader) bandHint(number string) string {
	hint := "write " + number + "%"
	if v := rr.r.Band; v < 1 {
		hint = "write " + english.Number(v*100) + "%"
	}
	if example := rr.bandExample(number); example != number {
		hint += ", or " + example + " for so much in any case"
	}
	return hint
}

// bandExample is the number in the measure's unit, where it has one.
func (rr *ruleReader) bandExample(number string) string {
	c := rr.r.compiled.measure
	if c == nil {
		return number
	}
	if _, in, ok := c.Alone(); ok && in != "" && in != "%" {
		return number + " " + in
	}
	return number
}

// order checks two limits that are constant: the worse stage lies further out,
// and the deadband of the worse does not reach over the other.
func (rr *ruleReader) order(n *yaml.Node, key string, lower, upper int) {
	a, _ := rr.r.compiled.limits[lower].Constant()
	b, _ := rr.r.compiled.limits[upper].Constant()
	gap := b - a
	if rr.r.Below {
		gap = a - b
	}
	band := math.Abs(b - rr.r.Off(b))
	switch {
	case gap < 0:
		rr.Fault(n, "the worse the stage, the further out its limit", "%s: %s at %s comes before %s at %s", key,
			StageNames[upper], english.Number(b), StageNames[lower], english.Number(a))
	case gap > 0 && band > gap && !expression.Equal(band, gap):
		rr.Fault(rr.f["deadband"], fmt.Sprintf("at most %s fits between %s and %s", rr.widest(gap, b), english.Number(a), english.Number(b)),
			"the deadband of %s is wider than the gap between %s and %s", rr.what, StageNames[lower], StageNames[upper])
	}
}

// widest is the deadband that just fits a gap under limit b.
func (rr *ruleReader) widest(gap, b float64) string {
	if rr.r.Deadband > 0 {
		return english.Number(math.Floor(1000*gap/math.Abs(b))/10) + "%"
	}
	return rr.bandExample(english.Number(gap))
}

// confirmLimit is how many samples a record keeps of a component.
const confirmLimit = 50

// confirm reads how many judged samples in a row must reach a limit, or raise a pattern: a
// number, by which a measured warning still acts at once, or by stage.
func (rr *ruleReader) confirm() {
	r, n := rr.r, rr.f["confirm"]
	r.Confirm = [4]int{1, 1, 1, 1}
	if n == nil {
		return
	}
	if r.On != 0 && r.On&OnSample == 0 {
		rr.Fault(source.Key(rr.n, "confirm"), "", "confirm counts samples, but %s is not `on: sample`", rr.what)
	}
	switch {
	case n.Kind == yaml.MappingNode:
	case r.Measured:
		v := rr.Whole(n, "confirm of "+rr.what, 1, confirmLimit)
		r.Confirm[Advisory], r.Confirm[Caution] = v, v
		return
	default:
		r.Confirm[r.Stage] = rr.Whole(n, "confirm of "+rr.what, 1, confirmLimit)
		return
	}
	f := rr.Mapping(n, "confirm of "+rr.what, StageNames[1:]...)
	for stage := Advisory; stage <= Warning; stage++ {
		switch v := f[StageNames[stage]]; {
		case v == nil:
		case !r.Has[stage]:
			hint := "its stage is " + StageNames[r.Stage]
			if r.Measured {
				hint = rr.hasStages("confirm")
			}
			rr.Fault(source.Key(n, StageNames[stage]), hint, "confirm of %s names a stage that the rule does not have: %s", rr.what, StageNames[stage])
		default:
			r.Confirm[stage] = rr.Whole(v, "confirm of "+rr.what, 1, confirmLimit)
		}
	}
}
