package people

import (
	"testing"
	"time"
)

func TestQuietHours(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	night, noon := quietHours{21 * 60, 7 * 60}, quietHours{12 * 60, 13 * 60}
	for _, c := range []struct {
		q        quietHours
		at, want string
	}{
		{quietHours{}, "2031-02-03T02:00:00Z", "2031-02-03T02:00:00Z"},
		{night, "2031-02-03T19:59:00Z", "2031-02-03T19:59:00Z"},
		{night, "2031-02-03T20:00:00Z", "2031-02-04T06:00:00Z"},
		{night, "2031-02-04T05:59:00Z", "2031-02-04T06:00:00Z"},
		{night, "2031-02-04T06:00:00Z", "2031-02-04T06:00:00Z"},
		{noon, "2031-02-04T11:30:00Z", "2031-02-04T12:00:00Z"},
		{noon, "2031-02-04T12:00:00Z", "2031-02-04T12:00:00Z"},
		// The night of 30 March 2031 is an hour short, that of 26 October one longer.
		{night, "2031-03-29T23:00:00Z", "2031-03-30T05:00:00Z"},
		{night, "2031-10-25T23:00:00Z", "2031-10-26T06:00:00Z"},
		{quietHours{60, 150}, "2031-03-30T00:30:00Z", "2031-03-30T01:30:00Z"},
	} {
		p := &Person{Zone: zone, quiet: c.q}
		if got := p.Wakes(at(c.at)).UTC().Format(time.RFC3339); got != c.want {
			t.Errorf("%v at %s: got %s, want %s", c.q, c.at, got, c.want)
		}
	}
}
