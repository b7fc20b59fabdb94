package source

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
)

// months are the names of the months, January first.
var months = func() (names []string) {
	for m := time.January; m <= time.December; m++ {
		names = append(names, m.String())
	}
	return names
}()

// Day reads a day that comes round each year: "1 November", "November 1", "1 Nov".
func (d *Document) Day(n *yaml.Node, what string) (month time.Month, day int, ok bool) {
	const hint = "write it as 1 November"
	if n.Kind != yaml.ScalarNode {
		d.Fault(n, hint, "%s must be a day such as 1 November, not %s", what, KindName(n))
		return 0, 0, false
	}
	parts := strings.Fields(n.Value)
	if len(parts) == 2 && strings.Trim(parts[1], "0123456789") == "" {
		slices.Reverse(parts)
	}
	if len(parts) != 2 {
		d.Fault(n, hint, "%s: %q is not a day such as 1 November", what, n.Value)
		return 0, 0, false
	}
	day, err := strconv.Atoi(parts[0])
	i := slices.IndexFunc(months, func(name string) bool {
		return strings.EqualFold(name, parts[1]) || len(parts[1]) >= 3 && strings.EqualFold(name[:3], strings.TrimSuffix(parts[1], "."))
	})
	switch {
	case err != nil:
		d.Fault(n, hint, "%s: %q is not a day such as 1 November", what, n.Value)
		return 0, 0, false
	case i < 0:
		d.Fault(n, d.DidYouMean(parts[1], months, hint), "%s: there is no month %q", what, parts[1])
		return 0, 0, false
	}
	month = time.Month(i + 1)
	const leap = 2000 // a year that has all days
	if last := time.Date(leap, month+1, 0, 0, 0, 0, 0, time.UTC).Day(); day < 1 || day > last {
		d.Fault(n, "", "%s: %s has %d days", what, month, last)
		return 0, 0, false
	}
	return month, day, true
}
