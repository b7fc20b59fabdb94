package rules

import (
	"math"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/source"
	"telltale/rules/unit"
)

// limits reads {distance: 45000 km, time: 36 months, hours: 500 h}; at least one,
// each more than zero. n may be nil, as in what follows.
func (e *entry) limits(n *yaml.Node, what string) (l Limits) {
	const hint = "write {distance: 45000 km}, {time: 36 months} or {hours: 500 h}, or several of them"
	switch {
	case n == nil || what == "every" && isReported(n):
		return l
	case what == "every" && strings.Contains(n.Value, "report"):
		e.Fault(n, "write `every: when reported`", "%s is neither a mapping nor `%s`", what, whenReported)
		return l
	case n.Kind != yaml.MappingNode:
		e.Fault(n, hint, "%s must be a mapping, not %s", what, source.KindName(n))
		return l
	case len(n.Content) == 0:
		e.Fault(n, hint, "%s is empty", what)
	}
	keys := []string{"distance", "time", "hours"}
	if what == "every" {
		keys = append(keys, "year", "until", "of")
	}
	f := e.Mapping(n, what, keys...)
	l.Distance = e.positive(f["distance"], what+" distance", unit.Distance)
	l.Hours = e.positive(f["hours"], what+" hours", unit.Time)
	if v := f["time"]; v != nil {
		span, kind, ok := e.Base(v, what+" time", unit.Months, unit.Days)
		switch {
		case !ok:
		case span <= 0:
			e.Fault(v, "", "%s time must be more than zero", what)
		case span != math.Trunc(span) || span > 36500:
			e.Fault(v, "", "%s time must be whole days or months, at most 36500", what)
		case kind == unit.Months:
			l.Months = int(span)
		default:
			l.Days = int(span)
		}
	}
	return l
}

func (e *entry) positive(n *yaml.Node, what string, kind unit.Kind) float64 {
	if n == nil {
		return 0
	}
	v, _, ok := e.Base(n, what, kind)
	if ok && v <= 0 {
		e.Fault(n, "", "%s must be more than zero", what)
		return 0
	}
	return v
}

// inside checks that the parts of inner fit those of outer: each limit of inner
// needs the same limit in outer, and must not be longer.
func (e *entry) inside(n *yaml.Node, what string, inner, outer Limits, of string) {
	if outer == (Limits{}) {
		return
	}
	for k, v := range source.Pairs(n) {
		mine, theirs := inner.part(k.Value), outer.part(k.Value)
		switch {
		case mine > 0 && theirs == 0 && source.Key(e.f[of], k.Value) != nil: // which is wrong itself
		case mine > 0 && theirs == 0:
			e.noSuchLimit(k, what, of)
		case mine > theirs:
			e.Fault(v, "", "%s %s is longer than that of %s", what, k.Value, of)
		}
	}
}

// worn is the limits of a task that is also due when a measure is worn: by what the vehicle
// runs or by the calendar, so that all margins have a place.
func (l Limits) worn() Limits {
	if l.Distance == 0 {
		l.Distance = math.Inf(1)
	}
	if l.Hours == 0 {
		l.Hours = math.Inf(1)
	}
	if l.Months == 0 && l.Days == 0 {
		l.Months = math.MaxInt32
	}
	return l
}

// noSuchLimit: what limits by the key something that of does not.
func (e *entry) noSuchLimit(key *yaml.Node, what, of string) {
	e.Fault(key, "add "+key.Value+" to `"+of+":`, or take it out of `"+what+":`", "%s sets %s, but %s does not", what, key.Value, of)
}

// part is one of the limits by its key, in numbers that compare.
func (l Limits) part(key string) float64 {
	switch key {
	case "distance":
		return l.Distance
	case "hours":
		return l.Hours
	case "time":
		return float64(l.Months*30 + l.Days) // as tolerances do
	}
	return 0
}
