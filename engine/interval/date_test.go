package interval

import (
	"encoding/json"
	"testing"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"
)

// civil is the slow twin of Date: a calendar that knows only how to turn a page.
type civil struct{ y, m, d int }

func (c civil) monthDays() int {
	switch c.m {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if c.y%4 == 0 && (c.y%100 != 0 || c.y%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

func (c civil) next() civil {
	c.d++
	if c.d > c.monthDays() {
		c.d, c.m = 1, c.m+1
	}
	if c.m > 12 {
		c.m, c.y = 1, c.y+1
	}
	return c
}

// monthsOn goes on one month at a time from the anchor, clamping only at the end.
func (c civil) monthsOn(n int) civil {
	for range n {
		if c.m++; c.m > 12 {
			c.m, c.y = 1, c.y+1
		}
	}
	c.d = min(c.d, c.monthDays())
	return c
}

func (c civil) daysOn(n int) civil {
	for range n {
		c = c.next()
	}
	return c
}

func (c civil) prev() civil {
	if c.d--; c.d == 0 {
		if c.m--; c.m == 0 {
			c.m, c.y = 12, c.y-1
		}
		c.d = c.monthDays()
	}
	return c
}

func (c civil) monthsBack(n int) civil {
	for range n {
		if c.m--; c.m == 0 {
			c.m, c.y = 12, c.y-1
		}
	}
	c.d = min(c.d, c.monthDays())
	return c
}

func (c civil) daysBack(n int) civil {
	for range n {
		c = c.prev()
	}
	return c
}

func (c civil) before(o civil) bool {
	if c.y != o.y {
		return c.y < o.y
	}
	if c.m != o.m {
		return c.m < o.m
	}
	return c.d < o.d
}

func (c civil) date() Date { return DateAt(c.y, time.Month(c.m), c.d) }

func date(t testing.TB, s string) Date {
	t.Helper()
	d, err := ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestDateCountsDays(t *testing.T) {
	c := civil{1896, 1, 1} // over 1900 and 2100, which are no leap years, and 2000, which is one
	d := DateAt(1896, time.January, 1)
	for ; c.y < 2105; c, d = c.next(), d+1 {
		if c.date() != d {
			t.Fatalf("%v is day %d, counted %d", c, c.date(), d)
		}
	}
	if d := DateAt(1, time.January, 1); d != 1 {
		t.Errorf("the first day is %d", d)
	}
}

func TestAddMonths(t *testing.T) {
	for _, c := range []struct {
		from string
		n    int
		want string
	}{
		{"2031-01-31", 1, "2031-02-28"},
		{"2032-01-31", 1, "2032-02-29"},
		{"2031-01-31", 2, "2031-03-31"},
		{"2031-01-31", 3, "2031-04-30"},
		{"2032-02-29", 12, "2033-02-28"},
		{"2032-02-29", 48, "2036-02-29"},
		{"2096-02-29", 48, "2100-02-28"},
		{"2031-12-15", 1, "2032-01-15"},
		{"2031-03-31", -1, "2031-02-28"},
		{"2031-01-15", -13, "2029-12-15"},
		{"2031-05-05", 0, "2031-05-05"},
	} {
		if got := date(t, c.from).AddMonths(c.n).String(); got != c.want {
			t.Errorf("%s and %d months: got %s, want %s", c.from, c.n, got, c.want)
		}
	}
}

func TestParseDate(t *testing.T) {
	for s, want := range map[string]string{
		"2031-02-29": `"2031-02-29" is not a date like 2031-02-28`,
		"":           `"" is not a date like 2031-02-28`,
		"31-02-28":   `"31-02-28" is not a date like 2031-02-28`,
		"2031-2-8":   `"2031-2-8" is not a date like 2031-02-28`,
		"0000-01-01": `"0000-01-01": there is no year 0`,
	} {
		if d, err := ParseDate(s); err == nil || err.Error() != want {
			t.Errorf("%s: got %v, %v", s, d, err)
		}
	}
	for _, s := range []string{"0001-01-01", "1969-12-31", "1970-01-01", "2032-02-29", "9999-12-31"} {
		if d := date(t, s); d.String() != s {
			t.Errorf("%s: got %s", s, d)
		}
	}
}

func TestDateText(t *testing.T) {
	type pair struct{ A, B Date }
	in := pair{A: date(t, "2031-02-10")}
	b, err := json.Marshal(in)
	if err != nil || string(b) != `{"A":"2031-02-10","B":""}` {
		t.Fatalf("got %s, %v", b, err)
	}
	var out pair
	if err := json.Unmarshal(b, &out); err != nil || out != in {
		t.Errorf("got %+v, %v", out, err)
	}
	if err := json.Unmarshal([]byte(`{"A":"soon"}`), &out); err == nil {
		t.Error("read a word as a date")
	}
}

var zoneNames = []string{
	"UTC", "Europe/London", "America/New_York", "Asia/Kathmandu", "Pacific/Apia", "Australia/Lord_Howe",
	"America/Sao_Paulo", "America/Havana", "Atlantic/Azores", "Asia/Beirut", "Pacific/Kiritimati",
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// The local date of a moment is what a formatted clock shows there, and Start is
// the first moment of its date.
func TestDateOfAndStart(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		z := zone(t, rapid.SampledFrom(zoneNames).Draw(r, "zone"))
		at := time.Unix(rapid.Int64Range(0, 4e9).Draw(r, "at"), 0)
		d := DateOf(at, z)
		if want := at.In(z).Format(time.DateOnly); d.String() != want {
			r.Fatalf("got %s, want %s", d, want)
		}
		start := d.Start(z)
		if got, before := DateOf(start, z), DateOf(start.Add(-time.Nanosecond), z); got != d || before >= d {
			r.Fatalf("%s starts at %s: that is on %s, and the moment before on %s", d, start, got, before)
		}
	})
}

func TestStartWhereClocksChange(t *testing.T) {
	for _, c := range []struct{ zone, date, want string }{
		{"Europe/London", "2031-03-30", "2031-03-30T00:00:00Z"},
		{"America/Sao_Paulo", "2018-11-04", "2018-11-04T01:00:00-02:00"}, // midnight was skipped
		{"America/Havana", "2018-11-04", "2018-11-04T00:00:00-04:00"},    // midnight came twice
		{"Pacific/Apia", "2011-12-30", "2011-12-31T00:00:00+14:00"},      // the whole day was skipped
	} {
		if got := date(t, c.date).Start(zone(t, c.zone)).Format(time.RFC3339); got != c.want {
			t.Errorf("%s in %s: got %s, want %s", c.date, c.zone, got, c.want)
		}
	}
}
