package frame

import (
	"net/url"
	"strings"
)

// The parts of a sample's address beside its path: which of two samples with one number, and
// a number that no path can hold.
const (
	QueryDrawn  = "drawn"
	QueryNumber = "number"
)

// SamplePath is the address of a laboratory's sheet, or of what hangs below it. drawn, as
// YYYY-MM-DD, tells sheets of one number apart; "" names none.
func SamplePath(vehicle, component, number, drawn string, more ...string) string {
	base, query := []string{"v", vehicle, "samples", component}, url.Values{}
	if drawn != "" {
		query.Set(QueryDrawn, drawn)
	}
	if InPath(number) {
		base = append(append(base, number), more...)
	} else {
		query.Set(QueryNumber, number)
	}
	if len(query) == 0 {
		return Path(base...)
	}
	return Path(base...) + "?" + query.Encode()
}

// InPath reports whether an address can hold the number: of dots alone it cannot.
func InPath(number string) bool { return strings.Trim(number, ".") != "" }
