package intake

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// isoDuration is ISO 8601-1:2019, 5.5.2.2, without years and months, which have
// no fixed number of hours: P2DT3H4M5S, or weeks alone. Only the last part may
// have a fraction, after a point or a comma.
var isoDuration = regexp.MustCompile(`^P(?:(\d+)W|(?:(\d+)D)?(T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?)$`)

var seconds = map[string]float64{"W": 7 * 86400, "D": 86400, "H": 3600, "M": 60, "S": 1}

var fraction = regexp.MustCompile(`[.,](\d{1,9})([HMSDW])$`)

// parseHours reads an ISO 8601 duration of a running meter, in hours. A day is 24
// hours of running.
func parseHours(s string) (float64, error) {
	bad := fmt.Errorf("%s is no ISO 8601 duration in days, hours, minutes and seconds, like PT13H28M30S", quote(s))
	whole, rest := s, 0.0
	if m := fraction.FindStringSubmatch(s); m != nil {
		whole = strings.TrimSuffix(s, m[0]) + m[2]
		f, err := strconv.ParseFloat("0."+m[1], 64)
		if err != nil {
			return 0, bad
		}
		rest = f * seconds[m[2]]
	}
	m := isoDuration.FindStringSubmatch(whole)
	if len(s) > 64 || m == nil || whole == "P" || m[3] == "T" {
		return 0, bad
	}
	sum := rest
	for i, per := range []string{1: "W", 2: "D", 4: "H", 5: "M", 6: "S"} {
		if per == "" || m[i] == "" {
			continue
		}
		n, err := strconv.ParseFloat(m[i], 64)
		if err != nil {
			return 0, bad
		}
		sum += float64(n * seconds[per]) // rounded before it is added, on every machine
	}
	return sum / 3600, nil
}
