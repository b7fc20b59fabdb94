package table

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"telltale/engine/intake/typed"
)

// dateOrder is the order of day and month in dates of figures; 0 where the mapping
// does not say.
type dateOrder = typed.Order

const (
	noOrder    = typed.NoOrder
	dayFirst   = typed.DayFirst
	monthFirst = typed.MonthFirst
	yearFirst  = typed.YearFirst
)

var orderNames = [...]string{noOrder: "", dayFirst: "day first", monthFirst: "month first", yearFirst: "year first"}

// calendar is how dates and times are written in a file.
type calendar struct {
	order   dateOrder
	century int // what is added to years of two digits; 0 where they are refused
	zone    *time.Location
	at      time.Duration // since midnight, of a date without a time of day
}

// moment is when something was: a time or, where dateOnly, a local date.
type moment struct {
	time     time.Time
	date     string // YYYY-MM-DD
	dateOnly bool
}

var (
	withTime = regexp.MustCompile(`^(.*?\d)(?:T|,? +)(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d+)?)? *([AaPp]\.?[Mm]\.?)?(Z|[+-]\d\d:?\d\d)?$`)
	timeOnly = regexp.MustCompile(`^(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d+)?)? *([AaPp]\.?[Mm]\.?)?$`)
)

// parse reads a cell with a date, perhaps with a time, and a second cell with a
// time alone, which may be empty.
func (c calendar) parse(s, timeCell string) (moment, wrong) {
	s, timeCell = oneBlank(s), oneBlank(timeCell)
	date, at, offset, given := s, c.at, "", timeCell != ""
	var w wrong
	m := withTime.FindStringSubmatch(s)
	if m != nil {
		if at, w = readClock(s, m[2:]); w.any() {
			return moment{}, w
		}
		date, offset, given = m[1], m[6], true
	}
	if timeCell != "" {
		w = bad("", "%q is not a time of day like 14:30 beside the date %q", short(timeCell), short(s))
		if alone := timeOnly.FindStringSubmatch(timeCell); alone != nil && m == nil {
			at, w = readClock(timeCell, alone[1:])
		}
		if w.any() {
			w.inTime = true
			return moment{}, w
		}
	}
	day, w := c.date(date)
	if w.any() {
		return moment{}, w
	}
	out, w := c.moment(oneBlank(s+" "+timeCell), day.Add(at), offset, !given)
	w.inTime = timeCell != ""
	return out, w
}

func oneBlank(s string) string { return typed.OneBlank(s) }

// readClock reads hour, minute, second and the half of the day.
func readClock(s string, p []string) (time.Duration, wrong) {
	hour, minute, second := number(p[0]), number(p[1]), number(p[2])
	off := hour > 23 || minute > 59 || second > 59
	if half := strings.ToLower(strings.ReplaceAll(p[3], ".", "")); half != "" {
		off = off || hour < 1 || hour > 12
		hour %= 12
		if half == "pm" {
			hour += 12
		}
	}
	if off {
		return 0, bad("", "%q is not a time of day", short(s))
	}
	return time.Duration(hour*3600+minute*60+second) * time.Second, wrong{}
}

// number reads figures that a pattern let through; "" is 0.
func number(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

// date reads year, month and day, as that day's midnight UTC.
func (c calendar) date(s string) (time.Time, wrong) {
	day, f := typed.Calendar{Order: c.order, Century: c.century}.Day(s)
	if f == nil {
		return day, wrong{}
	}
	return day, c.words(f)
}

// words say what is wrong with a date, and what of the mapping would put it right.
func (c calendar) words(f *typed.DayFault) wrong {
	s := short(f.Text)
	switch f.Wrong {
	case typed.NoSuchDay:
		return bad("", "there is no date %q", s)
	case typed.Swapped:
		other := map[dateOrder]dateOrder{dayFirst: monthFirst, monthFirst: dayFirst}[c.order]
		return bad("date order: "+orderNames[other], "there is no date %q, read %s", s, orderNames[c.order])
	case typed.ShortYear:
		return bad("century: 2000", "the year of %q has two digits", s)
	case typed.EitherDay:
		words := func(m int) string { return time.Month(m).String()[:3] }
		return bad("date order: day first, or date order: month first", "%q could be %d %s or %d %s %s", s, f.First, words(f.Second), f.Second, words(f.First), f.Year)
	case typed.AnyDay:
		return bad("date order: day first, date order: month first, or date order: year first", "%q could be more than one date", s)
	case typed.YearNotFirst:
		return bad("date order: day first, or date order: month first", "%q does not begin with the year", s)
	case typed.RunTogether:
		return bad("date order: year first", "%q is a date only if years come first", s)
	case typed.SerialNumber:
		return bad("give the column a date format in the spreadsheet, and save it again", "%q is a number by which a spreadsheet counts days, not a date", s)
	case typed.NoMonth:
		return bad("give the column a date format of figures in the spreadsheet, and save it again", "%q has no English month", s)
	}
	return bad("dates are written like 2031-02-10, 10.02.2031, 2/10/2031 or 10 Feb 2031; the spreadsheet's date formats are", "%q is not a date", s)
}

// moment puts date and time into the zone. Where the clocks go back, a time that
// comes twice is the first of the two; one that they skip is a fault.
func (c calendar) moment(s string, plain time.Time, offset string, dateOnly bool) (moment, wrong) {
	out := moment{date: plain.Format(time.DateOnly), dateOnly: dateOnly}
	if offset != "" {
		t, err := time.Parse("Z0700", strings.Replace(offset, ":", "", 1))
		if err != nil {
			return out, bad("", "%q has an offset that does not exist", short(s))
		}
		_, seconds := t.Zone()
		out.time = plain.Add(-time.Duration(seconds) * time.Second)
		out.date = out.time.In(c.zone).Format(time.DateOnly)
		return out, wrong{}
	}
	for _, near := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, seconds := plain.Add(near).In(c.zone).Zone()
		t := plain.Add(-time.Duration(seconds) * time.Second)
		if _, is := t.In(c.zone).Zone(); is == seconds {
			out.time = t
			return out, wrong{}
		}
	}
	if dateOnly { // a day whose beginning is skipped begins when the clocks have gone on
		out.time = time.Date(plain.Year(), plain.Month(), plain.Day(), plain.Hour(), plain.Minute(), plain.Second(), 0, c.zone).UTC()
		return out, wrong{}
	}
	return out, bad("", "%q is skipped by the clocks of %s", short(s), c.zone)
}
