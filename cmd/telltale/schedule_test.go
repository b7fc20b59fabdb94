package main

import (
	"testing"
	"time"
)

func TestParseSchedule(t *testing.T) {
	at := time.Date(2031, 1, 31, 23, 30, 0, 0, time.FixedZone("", -3600)) // half past midnight UTC
	for _, c := range []struct{ text, want string }{
		{monthly, "2031-03-01T00:00:00Z"},
		{"30 4 * * 1", "2031-02-03T04:30:00Z"},
		{"@monthly", "2031-03-01T00:00:00Z"},
		{"0 0 31 2 *", "never comes"},
		{"@every 1h", "is not a schedule of times"},
		{"TZ=UTC", "names a zone; it is in UTC"},
		{"0 0 1 *", "cannot be read: expected exactly 5 fields, found 4: [0 0 1 *]"},
	} {
		next, err := parseSchedule(c.text)
		got := ""
		if err != nil {
			got = err.Error()
		} else {
			got = next(at).Format(time.RFC3339)
		}
		if got != c.want {
			t.Errorf("%q: %s, want %s", c.text, got, c.want)
		}
	}
}
