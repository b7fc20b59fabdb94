package source

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

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
		return 0, "has a comma", "write " + withoutCommas(s)
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
	if errors.Is(err, strconv.ErrRange) {
		return 0, "is too large", "write a smaller number"
	}
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
	if wrong != "" && !d.parted(n) {
		d.misnumbered(n, n.Value, cure, fmt.Sprintf("%s: %q %s", what, n.Value, wrong))
	}
	return v, wrong == ""
}

// misnumbered reports a number that is not written as these files write it: its digits
// are a part of the scalar.
func (d *Document) misnumbered(n *yaml.Node, digits, cure, text string) {
	f := d.NewFault(n, cure, "%s", text)
	if number, ok := strings.CutPrefix(cure, "write "); ok {
		if _, wrong, _ := PlainNumber(number); wrong == "" {
			f.Hint = "write " + strings.Replace(n.Value, digits, number, 1)
			d.instead(&f, n.Line, n.Column, d.width(n), strings.Replace(n.Value, digits, number, 1))
		}
	}
	d.Add(f)
}

// thousandsOnly is a number whose commas can stand between thousands.
var thousandsOnly = regexp.MustCompile(`^[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?$`)

// withoutCommas is a number as these files write it: a comma before three digits stands
// between thousands, any other before the decimals.
func withoutCommas(s string) string {
	if thousandsOnly.MatchString(s) {
		return strings.ReplaceAll(s, ",", "")
	}
	if strings.Count(s, ",") == 1 {
		return strings.Replace(s, ",", ".", 1)
	}
	return strings.ReplaceAll(s, ",", "")
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
		if v, wrong, _ := PlainNumber(n.Value); n.Kind == yaml.ScalarNode && wrong == "" {
			if v > 0 && v < 1 {
				v *= 100
			}
			d.Instead(n, english.Number(v)+"%", "%s must be a share, like 10%%", what)
		} else {
			d.Fault(n, "write it as a share of the whole: 10%", "%s must be a share, like 10%%", what)
		}
		return 0, false
	}
	digits = strings.TrimSpace(digits)
	v, wrong, cure := PlainNumber(digits)
	if wrong == "" && v < 0 {
		wrong, cure = "is less than nothing", "write it without the sign"
	}
	if wrong != "" {
		d.misnumbered(n, digits, cure, fmt.Sprintf("%s: %q %s", what, n.Value, wrong))
		return 0, false
	}
	return v / 100, true
}

var exponent = regexp.MustCompile(`^[eE][+-]?[0-9]`)

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
		d.misnumbered(n, digits, cure, fmt.Sprintf("%s: %q %s", what, digits, wrong))
	case digits == "":
		d.Fault(n, "write it like "+cmp.Or(examples[kinds[0]], "40 "+fits[0]), "%s: %q is not a number with a unit", what, n.Value)
	case name == "" && len(fits) == 1:
		d.Instead(n, digits+" "+fits[0], "%s: %s has no unit", what, digits)
	case name == "":
		d.Fault(n, "write "+digits+" "+fits[0]+"; "+fitting, "%s: %s has no unit", what, digits)
	case !known:
		text := fmt.Sprintf("%s: unknown unit %q", what, name)
		if u := unit.Spoken(name); slices.Contains(fits, u) {
			d.Instead(n, digits+" "+u, "%s", text)
			break
		}
		if exponent.MatchString(name) {
			d.Fault(n, "write the number out, like "+cmp.Or(examples[kinds[0]], "40 "+fits[0]), "%s: %q has an exponent", what, n.Value)
			break
		}
		line, col := d.At(n, utf8.RuneCountInString(n.Value[:strings.Index(n.Value, name)]))
		d.Add(d.FaultAt(line, col, utf8.RuneCountInString(name), d.DidYouMean(name, fits, fitting), text))
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
