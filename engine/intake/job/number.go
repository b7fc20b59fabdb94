package job

import (
	"fmt"
	"regexp"
	"strings"

	"telltale/rules/unit"
)

var (
	thousands = regexp.MustCompile(`^\d{1,3}(,\d{3})+(\.\d+)?\s*([a-z]|$)`)
	spaced    = regexp.MustCompile(`^\d{1,3}([ \x{a0}\x{202f}]\d{3})+([.,]\d+)?\s*([a-zA-Z]|$)`)
	gap       = regexp.MustCompile(`[ \x{a0}\x{202f}](\d{3})`)
	comma     = regexp.MustCompile(`^\d+,\d{1,2}\s*[a-zA-Z]*$`)
	dotted    = regexp.MustCompile(`^(\d{1,3}(?:\.\d{3})+)\s*([a-zA-Z]*)$`)
)

// quantity reads a number with its unit, as 157500mi, 157,500mi or 157 500 km. A bare number is in the
// unit in which people read of the vehicle, where anybody says that. A point before three
// digits of what a meter shows may stand between thousands, and is asked about.
func quantity(option, text string, kind unit.Kind, reads unit.System) (*unit.Quantity, error) {
	plain, own := strings.TrimSpace(text), reads.Of(kind)
	if m := dotted.FindStringSubmatch(plain); m != nil && m[2]+own != "" && (kind == unit.Distance || kind == unit.Time) {
		return nil, &Error{Fault: TwoNumbers, Option: option, Kind: kind, Own: own, Typed: strings.ReplaceAll(m[1], ".", "") + m[2],
			text: fmt.Sprintf("%s %q may be two numbers", option, text)}
	}
	if spaced.MatchString(plain) {
		plain = gap.ReplaceAllString(plain, "$1")
	}
	if thousands.MatchString(plain) {
		plain = strings.ReplaceAll(plain, ",", "")
	}
	q, err := unit.Parse(plain)
	if err == nil && q.Unit == "" {
		q.Unit = own
	}
	if _, other := q.As(kind); err != nil || other != nil {
		e := &Error{Fault: NoQuantity, Option: option, Kind: kind, Own: own, text: fmt.Sprintf("%s %q is not %s with its unit", option, text, kind)}
		if err == nil && q.Unit == "" {
			e.Typed = strings.TrimSpace(plain)
		}
		if comma.MatchString(plain) {
			e.Pointed = strings.Join(strings.Fields(strings.Replace(plain, ",", ".", 1)), "")
		}
		return nil, e
	}
	return &q, nil
}
