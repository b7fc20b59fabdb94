// Package zone knows what people call time zones. It is pure.
package zone

import "strings"

// spoken are the time zones as people in the USA call them, and the United Kingdom, which
// has but one. Three letters such as EST, which are also names of zones without summer
// time, mean the zone where they are said.
var spoken = map[string]string{
	"eastern": "America/New_York", "et": "America/New_York", "est": "America/New_York", "edt": "America/New_York",
	"central": "America/Chicago", "ct": "America/Chicago", "cst": "America/Chicago", "cdt": "America/Chicago",
	"mountain": "America/Denver", "mt": "America/Denver", "mst": "America/Denver", "mdt": "America/Denver",
	"arizona": "America/Phoenix",
	"pacific": "America/Los_Angeles", "pt": "America/Los_Angeles", "pst": "America/Los_Angeles", "pdt": "America/Los_Angeles",
	"alaska": "America/Anchorage", "akst": "America/Anchorage", "hawaii": "Pacific/Honolulu", "hst": "Pacific/Honolulu",
	"uk": "Europe/London", "gb": "Europe/London", "bst": "Europe/London",
}

// Spoken is the IANA name of a zone that is called as people call it, such as "Central" or
// "Eastern Time"; "" for any other.
func Spoken(name string) string {
	name = strings.ToLower(strings.TrimSpace(name))
	name = strings.TrimSuffix(strings.TrimSuffix(name, " time"), " standard")
	return spoken[name]
}

// Hint says how a zone that is not known is written.
func Hint(name string) string {
	if is := Spoken(name); is != "" {
		return "write " + is
	}
	return "it is a name like Europe/London"
}
