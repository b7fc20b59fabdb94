package people

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
)

func withHolidays(t *testing.T, text string) *Directory {
	t.Helper()
	d, err := Parse("p", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestNoListOnHolidays: a list skips everyone's holidays and a person's own, and the next
// one knows which days it stands for too. In 2031 Christmas Day is a Thursday.
func TestNoListOnHolidays(t *testing.T) {
	d := withHolidays(t, `holidays: [2031-12-25, 2031-12-26]
people:
  a: {mail: a@b.example, zone: Europe/London, digest: "30 6 * * 1-5", holidays: [2031-12-29 to 2031-12-30]}
`)
	got := run(d, "2031-12-23T12:00:00Z", "2032-01-01T12:00:00Z", time.Hour)
	want := []string{"2031-12-24 at 12-24T07:00Z", "2031-12-31 at 12-31T07:00Z", "2032-01-01 at 01-01T07:00Z"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("the lists are %q, want %q", got, want)
	}
	a := d.Person("a")
	for date, want := range map[string][]string{
		"2031-12-31": {"2031-12-25", "2031-12-26", "2031-12-29", "2031-12-30"},
		"2031-12-24": nil,
		"2032-01-01": nil,
	} {
		if got := a.Skipped(date); !reflect.DeepEqual(got, want) {
			t.Errorf("before %s none came on %q, want %q", date, got, want)
		}
	}
	if got := (&Person{holidays: a.holidays}).Skipped("2031-12-31"); got != nil {
		t.Errorf("who has no list missed it on %q", got)
	}
}

// TestHolidaysAreQuiet: on a holiday only what cannot wait is told, all day, and until the
// quiet hours after it end.
func TestHolidaysAreQuiet(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	free := holidays{{"2031-12-25", "2031-12-26"}}
	night := quietHours{21 * 60, 7 * 60}
	for _, c := range []struct {
		q        quietHours
		at, want string
	}{
		{quietHours{}, "2031-12-24T22:59:00Z", "2031-12-24T22:59:00Z"},
		{quietHours{}, "2031-12-24T23:00:00Z", "2031-12-26T23:00:00Z"},
		{quietHours{}, "2031-12-26T12:00:00Z", "2031-12-26T23:00:00Z"},
		{quietHours{}, "2031-12-26T23:00:00Z", "2031-12-26T23:00:00Z"},
		{night, "2031-12-24T20:00:00Z", "2031-12-27T06:00:00Z"},
		{night, "2031-12-26T12:00:00Z", "2031-12-27T06:00:00Z"},
	} {
		p := &Person{Zone: zone, quiet: c.q, holidays: free}
		if got := p.Wakes(at(c.at)).UTC().Format(time.RFC3339); got != c.want {
			t.Errorf("%v at %s: got %s, want %s", c.q, c.at, got, c.want)
		}
	}
}

func TestHolidayFaults(t *testing.T) {
	_, err := Parse("p", []byte("holidays: [25 December, 2031-12-27 to 2031-12-20, 2031-12-24 to 2041-01-02, 2031-02-30]\n"))
	want := `p:1:12: holidays: "25 December" is not a date
    holidays: [25 December, 2031-12-27 to 2031-12-20, 2031-12-24 to 2041-01-02, 2031-02-30]
               ^^^^^^^^^^^
hint: write it like 2031-12-25, or 2031-12-27 to 2032-01-02
p:1:25: holidays: "2031-12-27 to 2031-12-20" ends before it begins
    holidays: [25 December, 2031-12-27 to 2031-12-20, 2031-12-24 to 2041-01-02, 2031-02-30]
                            ^^^^^^^^^^^^^^^^^^^^^^^^
hint: write 2031-12-20 to 2031-12-27
p:1:51: holidays: "2031-12-24 to 2041-01-02" is longer than a year
    holidays: [25 December, 2031-12-27 to 2031-12-20, 2031-12-24 to 2041-01-02, 2031-02-30]
                                                      ^^^^^^^^^^^^^^^^^^^^^^^^
hint: is the year right?
p:1:77: holidays: "2031-02-30" is not a date
    holidays: [25 December, 2031-12-27 to 2031-12-20, 2031-12-24 to 2041-01-02, 2031-02-30]
                                                                                ^^^^^^^^^^
hint: write it like 2031-12-25, or 2031-12-27 to 2032-01-02`
	if got := strings.TrimSpace(fmt.Sprint(err)); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
