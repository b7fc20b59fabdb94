package rules

import (
	"math"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/unit"
)

// number reads a bare number.
func (d *document) number(n *yaml.Node, what string) (float64, bool) {
	if n.Kind != yaml.ScalarNode {
		d.fault(n, "", "%s must be a number, not %s", what, kindName(n))
		return 0, false
	}
	if n.Style != 0 {
		d.fault(n, "take the quotes away", "%s must be a number, not text", what)
		return 0, false
	}
	v, wrong, cure := plainNumber(n.Value)
	if wrong != "" {
		d.fault(n, cure, "%s: %q %s", what, n.Value, wrong)
		return 0, false
	}
	return v, true
}

// whole reads a whole number between least and most.
func (d *document) whole(n *yaml.Node, what string, least, most int) int {
	v, ok := d.number(n, what)
	if ok && (v != math.Trunc(v) || v < float64(least) || v > float64(most)) {
		d.fault(n, "", "%s must be a whole number from %d to %d, not %s", what, least, most, n.Value)
		return least
	}
	return int(v)
}

// share reads "10%" as 0.1.
func (d *document) share(n *yaml.Node, what string) (float64, bool) {
	digits, ok := strings.CutSuffix(strings.TrimSpace(n.Value), "%")
	if n.Kind != yaml.ScalarNode || !ok {
		hint := ""
		if v, wrong, _ := plainNumber(n.Value); n.Kind == yaml.ScalarNode && wrong == "" {
			hint = "write " + english.Number(v) + "% for a share"
			if v > 0 && v < 1 {
				hint = "write " + english.Number(v*100) + "%"
			}
		}
		d.fault(n, hint, "%s must be a share, like 10%%", what)
		return 0, false
	}
	v, wrong, cure := plainNumber(strings.TrimSpace(digits))
	if wrong == "" && v < 0 {
		wrong = "is less than nothing"
	}
	if wrong != "" {
		d.fault(n, cure, "%s: %q %s", what, n.Value, wrong)
		return 0, false
	}
	return v / 100, true
}

// quantity reads a number with a unit of one of the kinds, in base units.
func (d *document) quantity(n *yaml.Node, what string, kinds ...unit.Kind) (float64, unit.Kind, bool) {
	if n.Kind != yaml.ScalarNode {
		d.fault(n, "", "%s must be a number with a unit, not %s", what, kindName(n))
		return 0, unit.None, false
	}
	s := strings.TrimSpace(n.Value)
	i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,_+-", r) })
	if i < 0 {
		i = len(s)
	}
	digits, name := s[:i], strings.TrimSpace(s[i:])
	v, wrong, cure := plainNumber(digits)
	fits := slices.DeleteFunc(unit.Names(kinds...), func(u string) bool { return slices.Contains(otherNames, u) })
	kind, known := unit.Of(name)
	switch {
	case wrong != "" && digits != "":
		d.fault(n, cure, "%s: %q %s", what, digits, wrong)
	case digits == "":
		d.fault(n, "write it like "+example(kinds[0], fits), "%s: %q is not a number with a unit", what, n.Value)
	case name == "":
		d.fault(n, withUnit(digits, fits), "%s: %s has no unit", what, digits)
	case !known:
		d.fault(n, d.l.didYouMean(name, fits, "units that fit: "+strings.Join(fits, ", ")), "%s: unknown unit %q", what, name)
	case !slices.Contains(kinds, kind):
		d.fault(n, unitHint(kind, fits), "%s: %s is %s", what, s, kind)
	default:
		base, _, _ := unit.Base(v, name)
		return base, kind, finite(base)
	}
	return 0, unit.None, false
}

// otherNames are units that are understood but not proposed.
var otherNames = []string{"d", "day", "week", "month", "year"}

func example(k unit.Kind, fits []string) string {
	if s := map[unit.Kind]string{unit.Distance: "45000 km", unit.Time: "250 h", unit.Volume: "4 L", unit.Months: "36 months", unit.Torque: "35 N m"}[k]; s != "" {
		return s
	}
	return "40 " + fits[0]
}

func withUnit(digits string, fits []string) string {
	s := "write " + digits + " " + fits[0]
	if len(fits) > 1 {
		s += "; units that fit: " + strings.Join(fits, ", ")
	}
	return s
}

func unitHint(got unit.Kind, fits []string) string {
	key := map[unit.Kind]string{unit.Distance: "distance", unit.Time: "hours", unit.Months: "time", unit.Days: "time"}[got]
	if key == "" {
		return "units that fit: " + strings.Join(fits, ", ")
	}
	return "units that fit: " + strings.Join(fits, ", ") + "; this one belongs under `" + key + ":`"
}

// limits reads {distance: 45000 km, time: 36 months, hours: 500 h}; at least one,
// each more than zero.
func (d *document) limits(n *yaml.Node, what string) Limits {
	var l Limits
	if n.Kind != yaml.MappingNode {
		d.fault(n, "write {distance: 45000 km}, {time: 36 months} or {hours: 500 h}, or several of them", "%s must be a mapping, not %s", what, kindName(n))
		return l
	}
	if len(n.Content) == 0 {
		d.fault(n, "write {distance: 45000 km}, {time: 36 months} or {hours: 500 h}, or several of them", "%s is empty", what)
	}
	f := d.mapping(n, what, "distance", "time", "hours")
	if v := f.get("distance"); v != nil {
		l.Distance = d.positive(v, what+" distance", unit.Distance)
	}
	if v := f.get("hours"); v != nil {
		l.Hours = d.positive(v, what+" hours", unit.Time)
	}
	if v := f.get("time"); v != nil {
		span, kind, ok := d.quantity(v, what+" time", unit.Months, unit.Days)
		switch {
		case !ok:
		case span <= 0:
			d.fault(v, "", "%s time must be more than zero", what)
		case span != math.Trunc(span) || span > 36500:
			d.fault(v, "", "%s time must be whole days or months, at most 36500", what)
		case kind == unit.Months:
			l.Months = int(span)
		default:
			l.Days = int(span)
		}
	}
	return l
}

func (d *document) positive(n *yaml.Node, what string, kind unit.Kind) float64 {
	v, _, ok := d.quantity(n, what, kind)
	if ok && v <= 0 {
		d.fault(n, "", "%s must be more than zero", what)
		return 0
	}
	return v
}

// days counts a calendar span with a month as 30 days, as tolerances do.
func (l Limits) days() int { return l.Months*30 + l.Days }

// within checks that the parts of inner fit those of outer: each limit of inner
// needs the same limit in outer, and must not be longer.
func (d *document) within(n *yaml.Node, what string, inner, outer Limits, of string) {
	if outer == (Limits{}) {
		return
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		mine, theirs := inner.part(k.Value), outer.part(k.Value)
		switch {
		case mine > 0 && theirs == 0:
			d.noSuchLimit(k, what, of)
		case mine > theirs:
			d.fault(v, "", "%s %s is longer than that of %s", what, k.Value, of)
		}
	}
}

// noSuchLimit: what limits by the key something that of does not.
func (d *document) noSuchLimit(key *yaml.Node, what, of string) {
	d.fault(key, "add "+key.Value+" to `"+of+":`, or take it out of `"+what+":`", "%s limits the %s, but %s does not", what, key.Value, of)
}

// part is one of the limits by its key, in numbers that compare.
func (l Limits) part(key string) float64 {
	switch key {
	case "distance":
		return l.Distance
	case "hours":
		return l.Hours
	case "time":
		return float64(l.days())
	}
	return 0
}
