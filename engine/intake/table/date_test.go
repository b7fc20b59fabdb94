package table

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestDates(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	cal := func(order dateOrder, century int) calendar {
		return calendar{order: order, century: century, zone: london}
	}
	for _, c := range []struct {
		cal        calendar
		date, time string
		want       string // the moment, or what is wrong; the cure
	}{
		{cal(noOrder, 0), "2031-02-10", "", "2031-02-10T00:00:00Z 2031-02-10 only"},
		{cal(noOrder, 0), "2031/7/1", "", "2031-06-30T23:00:00Z 2031-07-01 only"},
		{cal(noOrder, 0), "2031-07-01T06:10:00Z", "", "2031-07-01T06:10:00Z 2031-07-01"},
		{cal(noOrder, 0), "2031-07-01T00:10:00+02:00", "", "2031-06-30T22:10:00Z 2031-06-30"},
		{cal(noOrder, 0), "2031-07-01 06:10", "", "2031-07-01T05:10:00Z 2031-07-01"},
		{cal(noOrder, 0), "31/03/2031", "", "2031-03-30T23:00:00Z 2031-03-31 only"},
		{cal(noOrder, 0), "03/31/2031", "", "2031-03-30T23:00:00Z 2031-03-31 only"},
		{cal(noOrder, 0), "03/03/2031", "", "2031-03-03T00:00:00Z 2031-03-03 only"},
		{cal(noOrder, 0), "03/04/2031", "", `"03/04/2031" could be 3 Apr or 4 Mar 2031; date order: day first, or date order: month first`},
		{cal(noOrder, 2000), "03/04/31", "", `"03/04/31" could be more than one date; date order: day first, date order: month first, or date order: year first`},
		{cal(dayFirst, 0), "03.04.31", "", `the year of "03.04.31" has two digits; century: 2000`},
		{cal(dayFirst, 2000), "3.4.31", "14:30", "2031-04-03T13:30:00Z 2031-04-03"},
		{cal(dayFirst, 0), "03/31/2031", "", `there is no date "03/31/2031", read day first; date order: month first`},
		{cal(monthFirst, 0), "2/10/2031 2:30 PM", "", "2031-02-10T14:30:00Z 2031-02-10"},
		{cal(monthFirst, 0), "2/10/2031 12:05 am", "", "2031-02-10T00:05:00Z 2031-02-10"},
		{cal(monthFirst, 0), "2/10/2031 14:05 pm", "", `"2/10/2031 14:05 pm" is not a time of day; `},
		{cal(yearFirst, 2000), "31-02-03", "", "2031-02-03T00:00:00Z 2031-02-03 only"},
		{cal(yearFirst, 0), "20310203", "", "2031-02-03T00:00:00Z 2031-02-03 only"},
		{cal(yearFirst, 0), "03-02-2031", "", `"03-02-2031" does not begin with the year; date order: day first, or date order: month first`},
		{cal(dayFirst, 0), "20310203", "", `"20310203" is a date only if years come first; date order: year first`},
		{cal(noOrder, 0), "10 Feb 2031", "", "2031-02-10T00:00:00Z 2031-02-10 only"},
		{cal(noOrder, 0), "10-february-2031", "", "2031-02-10T00:00:00Z 2031-02-10 only"},
		{cal(noOrder, 0), "Feb 10, 2031", "", "2031-02-10T00:00:00Z 2031-02-10 only"},
		{cal(noOrder, 0), "10. Dez. 2031", "", `"10. Dez. 2031" has no English month; give the column a date format of figures in the spreadsheet, and save it again`},
		{cal(noOrder, 0), "30/02/2031", "", `there is no date "30/02/2031"; `},
		{cal(dayFirst, 0), "1/2-2031", "", `"1/2-2031" is not a date; dates are written like 2031-02-10, 10.02.2031, 2/10/2031 or 10 Feb 2031; the spreadsheet's date formats are`},
		{cal(noOrder, 0), "47893", "", `"47893" is a number by which a spreadsheet counts days, not a date; give the column a date format in the spreadsheet, and save it again`},
		{cal(noOrder, 0), "2031-03-30 01:30", "", `"2031-03-30 01:30" is skipped by the clocks of Europe/London; `},
		{cal(noOrder, 0), "2031-10-26 01:30", "", "2031-10-26T00:30:00Z 2031-10-26"}, // the first of two
		{cal(noOrder, 0), "2031-02-10", "half past two", `"half past two" is not a time of day like 14:30 beside the date "2031-02-10"; `},
		{cal(noOrder, 0), "2031-02-10 10:00", "11:00", `"11:00" is not a time of day like 14:30 beside the date "2031-02-10 10:00"; `},
	} {
		m, w := c.cal.parse(c.date, c.time)
		got := m.time.UTC().Format(time.RFC3339) + " " + m.date
		if m.dateOnly {
			got += " only"
		}
		if w.any() {
			got = w.text + "; " + w.cure
		}
		if got != c.want {
			t.Errorf("%q %q, %v: got  %s\nwant %s", c.date, c.time, orderNames[c.cal.order], got, c.want)
		}
	}
}

// A date is read in the order it was written in, and without an order only where no
// other date is written the same.
func TestDatesReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, rapid.IntRange(0, 4000).Draw(t, "days"))
		order := rapid.SampledFrom([]dateOrder{dayFirst, monthFirst}).Draw(t, "order")
		form := map[dateOrder]string{dayFirst: "2/1/2006", monthFirst: "1/2/2006"}
		text := day.Format(form[order])
		m, w := calendar{order: order, zone: time.UTC}.parse(text, "")
		if w.any() || !m.time.Equal(day) {
			t.Fatalf("%s %s was read as %v (%s)", text, orderNames[order], m.time, w.text)
		}
		other := map[time.Time]bool{}
		for _, f := range form {
			if d, err := time.Parse(f, text); err == nil {
				other[d] = true
			}
		}
		m, w = calendar{zone: time.UTC}.parse(text, "")
		if (len(other) == 1) != !w.any() || !w.any() && !m.time.Equal(day) {
			t.Fatalf("%s without an order: %v (%s), but it can be %s", text, m.time, w.text, fmt.Sprint(other))
		}
	})
}
