package table

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// dateOrder is the order of day and month in dates of figures; 0 where the mapping
// does not say.
type dateOrder uint8

const (
	noOrder dateOrder = iota
	dayFirst
	monthFirst
	yearFirst
)

var orderNames = [...]string{noOrder: "", dayFirst: "day first", monthFirst: "month first", yearFirst: "year first"}

// calendar is how dates and times are written in a file.
type calendar struct {
	order   dateOrder
	century int // what is added to years of two digits; 0 where they are refused
	zone    *time.Location
	// at is the time of day of a date without one.
	at clock
}

// clock is a time of day.
type clock struct{ hour, minute, second int }

// moment is when something was: a time or, where dateOnly, a local date.
type moment struct {
	time     time.Time
	date     string // YYYY-MM-DD
	dateOnly bool
}

var (
	withTime = regexp.MustCompile(`^(.*?\d)(?:T|,? +)(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d+)?)? *([AaPp]\.?[Mm]\.?)?(Z|[+-]\d\d:?\d\d)?$`)
	timeOnly = regexp.MustCompile(`^(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d+)?)? *([AaPp]\.?[Mm]\.?)?$`)
	byYear   = regexp.MustCompile(`^(\d{4})([-./])(\d{1,2})([-./])(\d{1,2})$`)
	byFigure = regexp.MustCompile(`^(\d{1,2})([-./ ])(\d{1,2})([-./ ])(\d{4}|\d\d)$`)
	dayName  = regexp.MustCompile(`^(\d{1,2})[-. ]? ?([A-Za-z]{3,9})[-., ]{1,2}(\d{4}|\d\d)$`)
	nameDay  = regexp.MustCompile(`^([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})$`)
	eight    = regexp.MustCompile(`^(\d{4})(\d\d)(\d\d)$`)
	serial   = regexp.MustCompile(`^\d{5}([.,]\d+)?$`)
)

// parse reads a cell with a date, perhaps with a time, and a second cell with a
// time alone, which may be empty.
func (c calendar) parse(s, timeCell string) (moment, wrong) {
	s = oneBlank(s)
	date, at, offset := s, clock{}, ""
	given := false
	if m := withTime.FindStringSubmatch(s); m != nil {
		var w wrong
		if at, w = readClock(s, m[2], m[3], m[4], m[5]); w.any() {
			return moment{}, w
		}
		date, offset, given = m[1], m[6], true
	}
	if timeCell = oneBlank(timeCell); timeCell != "" {
		m := timeOnly.FindStringSubmatch(timeCell)
		if m == nil || given {
			w := bad("", "%q is not a time of day like 14:30 beside the date %q", short(timeCell), short(s))
			w.inTime = true
			return moment{}, w
		}
		var w wrong
		if at, w = readClock(timeCell, m[1], m[2], m[3], m[4]); w.any() {
			w.inTime = true
			return moment{}, w
		}
		given = true
	}
	y, mon, d, w := c.date(date)
	if w.any() {
		return moment{}, w
	}
	if !given {
		at = c.at
	}
	m, w := c.moment(oneBlank(s+" "+timeCell), y, mon, d, at, offset, !given)
	w.inTime = timeCell != ""
	return m, w
}

func oneBlank(s string) string { return strings.Join(strings.FieldsFunc(s, isBlank), " ") }

func readClock(s, hour, minute, second, half string) (clock, wrong) {
	at := clock{number(hour), number(minute), number(second)}
	off := at.hour > 23 || at.minute > 59 || at.second > 59
	if half = strings.ToLower(strings.ReplaceAll(half, ".", "")); half != "" {
		off = off || at.hour < 1 || at.hour > 12
		at.hour %= 12
		if half == "pm" {
			at.hour += 12
		}
	}
	if off {
		return at, bad("", "%q is no time of day", short(s))
	}
	return at, wrong{}
}

// number reads figures that a pattern let through; "" is 0.
func number(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

// date reads year, month and day.
func (c calendar) date(s string) (y, m, d int, w wrong) {
	notADate := bad("dates are written like 2031-02-10, 10.02.2031, 2/10/2031 or 10 Feb 2031; the spreadsheet's date formats are", "%q is not a date", short(s))
	switch {
	case byYear.MatchString(s):
		p := byYear.FindStringSubmatch(s)
		if p[2] != p[4] {
			return 0, 0, 0, notADate
		}
		return c.exists(s, number(p[1]), number(p[3]), number(p[5]))
	case byFigure.MatchString(s):
		p := byFigure.FindStringSubmatch(s)
		if p[2] != p[4] {
			return 0, 0, 0, notADate
		}
		return c.figures(s, p[1], p[3], p[5])
	case dayName.MatchString(s):
		p := dayName.FindStringSubmatch(s)
		return c.named(s, p[2], p[1], p[3])
	case nameDay.MatchString(s):
		p := nameDay.FindStringSubmatch(s)
		return c.named(s, p[1], p[2], p[3])
	case eight.MatchString(s) && c.order == yearFirst:
		p := eight.FindStringSubmatch(s)
		return c.exists(s, number(p[1]), number(p[2]), number(p[3]))
	case eight.MatchString(s):
		return 0, 0, 0, bad("date order: year first", "%q is a date only if years come first", s)
	case serial.MatchString(s):
		return 0, 0, 0, bad("give the column a date format in the spreadsheet, and save it again", "%q is a number by which a spreadsheet counts days, not a date", s)
	}
	return 0, 0, 0, notADate
}

// figures reads a date of three figures without a year in front of four digits.
func (c calendar) figures(s, a, b, last string) (y, m, d int, w wrong) {
	if len(last) == 2 && c.century == 0 {
		return 0, 0, 0, bad("century: 2000", "the year of %q has two digits", s)
	}
	switch c.order {
	case dayFirst:
		return c.swapped(s, number(b), number(a), last, "month first")
	case monthFirst:
		return c.swapped(s, number(a), number(b), last, "day first")
	case yearFirst:
		if len(last) == 2 && len(a) == 2 {
			return c.exists(s, c.century+number(a), number(b), number(last))
		}
		return 0, 0, 0, bad("date order: day first, or date order: month first", "%q does not begin with the year", s)
	}
	both := number(a) <= 12 && number(b) <= 12 && number(a) != number(b)
	if !both && len(last) == 4 {
		if number(a) > 12 {
			return c.exists(s, number(last), number(b), number(a))
		}
		return c.exists(s, number(last), number(a), number(b))
	}
	if len(last) == 2 {
		return 0, 0, 0, bad("date order: day first, date order: month first, or date order: year first", "%q could be more than one date", s)
	}
	words := func(m, d string) string { return time.Month(number(m)).String()[:3] }
	return 0, 0, 0, bad("date order: day first, or date order: month first", "%q could be %d %s or %d %s %s", s, number(a), words(b, a), number(b), words(a, b), last)
}

// swapped is exists, with the cure where day and month changed places.
func (c calendar) swapped(s string, m, d int, last, other string) (int, int, int, wrong) {
	y := number(last)
	if len(last) == 2 {
		y += c.century
	}
	ry, rm, rd, w := c.exists(s, y, m, d)
	if _, _, _, w2 := c.exists(s, y, d, m); w.any() && !w2.any() {
		w.text += ", read " + orderNames[c.order]
		w.cure = "date order: " + other
	}
	return ry, rm, rd, w
}

// named reads a date with the English name of its month.
func (c calendar) named(s, name, day, year string) (y, m, d int, w wrong) {
	for i := time.January; i <= time.December; i++ {
		if n, full := strings.ToLower(name), strings.ToLower(i.String()); n == full || n == full[:3] || n == "sept" && i == time.September {
			m = int(i)
		}
	}
	if m == 0 {
		return 0, 0, 0, bad("give the column a date format of figures in the spreadsheet, and save it again", "%q names no month in English", short(s))
	}
	y = number(year)
	if len(year) == 2 {
		if c.century == 0 {
			return 0, 0, 0, bad("century: 2000", "the year of %q has two digits", s)
		}
		y += c.century
	}
	return c.exists(s, y, m, number(day))
}

func (c calendar) exists(s string, y, m, d int) (int, int, int, wrong) {
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if t.Day() != d || int(t.Month()) != m || t.Year() != y {
		return 0, 0, 0, bad("", "there is no date %q", short(s))
	}
	return y, m, d, wrong{}
}

// moment puts date and time into the zone. Where the clocks go back, a time that
// comes twice is the first of the two; one that they skip is a fault.
func (c calendar) moment(s string, y, m, d int, at clock, offset string, dateOnly bool) (moment, wrong) {
	plain := time.Date(y, time.Month(m), d, at.hour, at.minute, at.second, 0, time.UTC)
	out := moment{date: plain.Format(time.DateOnly), dateOnly: dateOnly}
	if offset != "" {
		t, err := time.Parse("Z0700", strings.Replace(offset, ":", "", 1))
		if err != nil {
			return out, bad("", "%q has an offset that is none", short(s))
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
		out.time = time.Date(y, time.Month(m), d, at.hour, at.minute, at.second, 0, c.zone).UTC()
		return out, wrong{}
	}
	return out, bad("", "%q is skipped by the clocks of %s", short(s), c.zone)
}
