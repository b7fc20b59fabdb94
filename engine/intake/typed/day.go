package typed

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Order is the order of day, month and year in dates of figures.
type Order uint8

// The orders; NoOrder where nobody named one, and only a date that can be read in one
// way is read.
const (
	NoOrder Order = iota
	DayFirst
	MonthFirst
	YearFirst
)

// Calendar is how days are written.
type Calendar struct {
	Order Order
	// Century is what is added to years of two digits; 0 where they are refused.
	Century int
}

// DayWrong is what keeps a text from being a day.
type DayWrong uint8

// What can be wrong with a day.
const (
	NoDay        DayWrong = iota + 1 // nothing like a date
	NoSuchDay                        // 31 June
	Swapped                          // there is no such day, but there is with day and month the other way round
	ShortYear                        // a year of two digits, of no century
	EitherDay                        // day and month could be either; First and Second are the figures
	AnyDay                           // three figures of two digits, in no order
	YearNotFirst                     // years come first, and this one does not
	RunTogether                      // 20310210, where years do not come first
	SerialNumber                     // the number by which a spreadsheet counts days
	NoMonth                          // no English month
)

// DayFault is what is wrong with a day.
type DayFault struct {
	Wrong         DayWrong
	Text          string // as written
	First, Second int    // of EitherDay
	Year          string // of EitherDay
}

var (
	byYear   = regexp.MustCompile(`^(\d{4})([-./])(\d{1,2})([-./])(\d{1,2})$`)
	byFigure = regexp.MustCompile(`^(\d{1,2})([-./ ])(\d{1,2})([-./ ])(\d{4}|\d\d)$`)
	dayName  = regexp.MustCompile(`^(\d{1,2})[-. ]? ?([A-Za-z]{3,9})[-., ]{1,2}(\d{4}|\d\d)$`)
	nameDay  = regexp.MustCompile(`^([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})$`)
	eight    = regexp.MustCompile(`^(\d{4})(\d\d)(\d\d)$`)
	serial   = regexp.MustCompile(`^\d{5}([.,]\d+)?$`)
)

// OneBlank writes the words of a text with one blank between them.
func OneBlank(s string) string { return strings.Join(strings.FieldsFunc(s, IsBlank), " ") }

// Day reads year, month and day, as that day's midnight UTC.
func (c Calendar) Day(s string) (time.Time, *DayFault) {
	if p := byYear.FindStringSubmatch(s); p != nil && p[2] == p[4] {
		return exists(s, number(p[1]), number(p[3]), number(p[5]))
	}
	if p := byFigure.FindStringSubmatch(s); p != nil && p[2] == p[4] {
		return c.figures(s, p[1], p[3], p[5])
	}
	if p := dayName.FindStringSubmatch(s); p != nil {
		return c.named(s, p[2], p[1], p[3])
	}
	if p := nameDay.FindStringSubmatch(s); p != nil {
		return c.named(s, p[1], p[2], p[3])
	}
	switch p := eight.FindStringSubmatch(s); {
	case p != nil && c.Order == YearFirst:
		return exists(s, number(p[1]), number(p[2]), number(p[3]))
	case p != nil:
		return noDay(s, RunTogether)
	case serial.MatchString(s):
		return noDay(s, SerialNumber)
	}
	return noDay(s, NoDay)
}

func noDay(s string, w DayWrong) (time.Time, *DayFault) {
	return time.Time{}, &DayFault{Wrong: w, Text: s}
}

// number reads figures that a pattern let through.
func number(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

// figures reads a date of three figures without a year in front of four digits.
func (c Calendar) figures(s, a, b, last string) (time.Time, *DayFault) {
	y, ok := c.year(last)
	if !ok {
		return noDay(s, ShortYear)
	}
	first, second := number(a), number(b)
	switch c.Order {
	case DayFirst:
		return swapped(s, y, second, first)
	case MonthFirst:
		return swapped(s, y, first, second)
	case YearFirst:
		if len(last) == 2 && len(a) == 2 {
			return exists(s, c.Century+first, second, number(last))
		}
		return noDay(s, YearNotFirst)
	}
	switch {
	case len(last) == 2:
		return noDay(s, AnyDay)
	case first > 12:
		return exists(s, y, second, first)
	case second > 12 || first == second:
		return exists(s, y, first, second)
	}
	return time.Time{}, &DayFault{Wrong: EitherDay, Text: s, First: first, Second: second, Year: last}
}

// year reads the year of a date; two digits are of the century.
func (c Calendar) year(digits string) (y int, ok bool) {
	if len(digits) > 2 {
		return number(digits), true
	}
	return c.Century + number(digits), c.Century != 0
}

// swapped is exists, and says where day and month changed places.
func swapped(s string, y, m, d int) (time.Time, *DayFault) {
	t, f := exists(s, y, m, d)
	if _, f2 := exists(s, y, d, m); f != nil && f2 == nil {
		f.Wrong = Swapped
	}
	return t, f
}

// named reads a date with the English name of its month.
func (c Calendar) named(s, name, day, year string) (time.Time, *DayFault) {
	m := 0
	for i := time.January; i <= time.December; i++ {
		if n, full := strings.ToLower(name), strings.ToLower(i.String()); n == full || n == full[:3] || n == "sept" && i == time.September {
			m = int(i)
		}
	}
	if m == 0 {
		return noDay(s, NoMonth)
	}
	y, ok := c.year(year)
	if !ok {
		return noDay(s, ShortYear)
	}
	return exists(s, y, m, number(day))
}

func exists(s string, y, m, d int) (time.Time, *DayFault) {
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if t.Day() != d || int(t.Month()) != m || t.Year() != y {
		return noDay(s, NoSuchDay)
	}
	return t, nil
}
