package source

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/unit"
)

// PlainNumber reads a number as these files write them; where it is none, wrong says
// what is wrong with it ("has a comma") and cure how it should be written.
func PlainNumber(s string) (v float64, wrong, cure string) {
	body := strings.TrimLeft(s, "+-")
	lower := strings.ToLower(body)
	switch {
	case strings.Contains(lower, "nan") || strings.Contains(lower, "inf"):
		return 0, "is not a number that can be judged", "write a plain decimal number"
	case strings.Contains(body, ","):
		return 0, "has a comma", "write " + strings.ReplaceAll(s, ",", "") + " for thousands, or a point for decimals"
	case strings.Contains(body, "_"):
		return 0, "has an underscore", "write " + strings.ReplaceAll(s, "_", "")
	case strings.HasPrefix(lower, "0x") || strings.HasPrefix(lower, "0o") || strings.HasPrefix(lower, "0b"):
		return 0, "is not decimal", "write a plain decimal number"
	case len(body) > 1 && body[0] == '0' && body[1] >= '0' && body[1] <= '9':
		return 0, "begins with a zero, which some read as octal", "write " + strings.TrimLeft(body, "0")
	case body == "" || body[0] < '0' || body[0] > '9':
		return 0, "is not a number", "write a plain decimal number, like 0.75"
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, "is not a number", "write a plain decimal number, like 0.75"
	}
	return v, "", ""
}

// Number reads a bare number.
func (d *Document) Number(n *yaml.Node, what string) (float64, bool) {
	if n.Kind != yaml.ScalarNode {
		d.Fault(n, "", "%s must be a number, not %s", what, KindName(n))
		return 0, false
	}
	if n.Style != 0 {
		d.Fault(n, "remove the quotes", "%s must be a number, not text", what)
		return 0, false
	}
	v, wrong, cure := PlainNumber(n.Value)
	if wrong != "" {
		d.Fault(n, cure, "%s: %q %s", what, n.Value, wrong)
		return 0, false
	}
	return v, true
}

// Whole reads a whole number between least and most.
func (d *Document) Whole(n *yaml.Node, what string, least, most int) int {
	v, ok := d.Number(n, what)
	if ok && (v != math.Trunc(v) || v < float64(least) || v > float64(most)) {
		d.Fault(n, "", "%s must be a whole number from %d to %d, not %s", what, least, most, n.Value)
		return least
	}
	return int(v)
}

// Share reads "10%" as 0.1.
func (d *Document) Share(n *yaml.Node, what string) (float64, bool) {
	digits, ok := strings.CutSuffix(strings.TrimSpace(n.Value), "%")
	if n.Kind != yaml.ScalarNode || !ok {
		hint := ""
		if v, wrong, _ := PlainNumber(n.Value); n.Kind == yaml.ScalarNode && wrong == "" {
			hint = "write " + english.Number(v) + "% for a share"
			if v > 0 && v < 1 {
				hint = "write " + english.Number(v*100) + "%"
			}
		}
		d.Fault(n, hint, "%s must be a share, like 10%%", what)
		return 0, false
	}
	v, wrong, cure := PlainNumber(strings.TrimSpace(digits))
	if wrong == "" && v < 0 {
		wrong = "is less than nothing"
	}
	if wrong != "" {
		d.Fault(n, cure, "%s: %q %s", what, n.Value, wrong)
		return 0, false
	}
	return v / 100, true
}

// Base reads a number with a unit of one of the kinds, in the base unit of its kind.
func (d *Document) Base(n *yaml.Node, what string, kinds ...unit.Kind) (v float64, kind unit.Kind, ok bool) {
	q, ok := d.Quantity(n, what, kinds...)
	if !ok {
		return 0, unit.None, false
	}
	v, kind, _ = q.Base()
	return v, kind, true
}

// Quantity reads a number with a unit of one of the kinds, as written; ok is false
// where there is a fault.
func (d *Document) Quantity(n *yaml.Node, what string, kinds ...unit.Kind) (q unit.Quantity, ok bool) {
	if n.Kind != yaml.ScalarNode {
		d.Fault(n, "", "%s must be a number with a unit, not %s", what, KindName(n))
		return q, false
	}
	s := strings.TrimSpace(n.Value)
	i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.,_+-", r) })
	if i < 0 {
		i = len(s)
	}
	digits, name := s[:i], strings.TrimSpace(s[i:])
	v, wrong, cure := PlainNumber(digits)
	fits := slices.DeleteFunc(unit.Names(kinds...), func(u string) bool { return slices.Contains(otherNames, u) })
	fitting := "units that fit: " + strings.Join(fits, ", ")
	kind, known := unit.Of(name)
	switch {
	case d.parted(n):
	case wrong != "" && digits != "":
		d.Fault(n, cure, "%s: %q %s", what, digits, wrong)
	case digits == "":
		d.Fault(n, "write it like "+cmp.Or(examples[kinds[0]], "40 "+fits[0]), "%s: %q is not a number with a unit", what, n.Value)
	case name == "" && len(fits) == 1:
		d.Fault(n, "write "+digits+" "+fits[0], "%s: %s has no unit", what, digits)
	case name == "":
		d.Fault(n, "write "+digits+" "+fits[0]+"; "+fitting, "%s: %s has no unit", what, digits)
	case !known:
		hint := d.DidYouMean(name, fits, fitting)
		if u := unit.Spoken(name); slices.Contains(fits, u) {
			hint = "write " + digits + " " + u
		}
		d.Fault(n, hint, "%s: unknown unit %q", what, name)
	case !slices.Contains(kinds, kind) && keys[kind] != "":
		d.Fault(n, fitting+"; this one belongs under `"+keys[kind]+":`", "%s: %s is %s", what, s, kind)
	case !slices.Contains(kinds, kind):
		d.Fault(n, fitting, "%s: %s is %s", what, s, kind)
	default:
		base, _, _ := unit.Base(v, name)
		return unit.Quantity{Value: v, Unit: name}, !math.IsInf(base, 0)
	}
	return q, false
}

// What the hints say of units: those that are understood but not proposed, a quantity
// of a kind, and the key under which one of a kind is likely meant.
var (
	otherNames = []string{"d", "day", "week", "month", "year"}
	examples   = map[unit.Kind]string{unit.Distance: "45000 km", unit.Time: "250 h", unit.Volume: "4 L", unit.Months: "36 months", unit.Torque: "35 N m"}
	keys       = map[unit.Kind]string{unit.Distance: "distance", unit.Time: "hours", unit.Months: "time", unit.Days: "time"}
)
