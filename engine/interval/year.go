package interval

import (
	"strconv"
	"time"
)

// DayOfYear is a day that comes round each year; the zero value is none. 29 February is the
// 28th in a year that has none.
type DayOfYear struct {
	Month time.Month
	Day   int
}

// String is the day as people write it: "1 November".
func (y DayOfYear) String() string { return strconv.Itoa(y.Day) + " " + y.Month.String() }

// usualEarly is how long before the day work counts for it where the plan has no early
// time: who has the tyres changed a week before the first of November had them changed for
// that winter. Common practice, no source.
const usualEarly = 30

// in is the day in a year.
func (y DayOfYear) in(year int) Date {
	first, next := DateAt(year, y.Month, 1), DateAt(year, y.Month+1, 1)
	return first + min(Date(y.Day), next-first) - 1
}

// after is the first such day later than a date.
func (y DayOfYear) after(d Date) Date {
	year, _, _ := d.utc().Date()
	if at := y.in(year); at > d {
		return at
	}
	return y.in(year + 1)
}

// due is the day for which work of a date does not count any more: the next one, or the one
// after it where the work was done as early as it is asked for. So one late year moves none
// that follows.
func (y DayOfYear) due(done Date, early Limits) Date {
	if !early.hasTime() {
		early = Limits{Days: usualEarly}
	}
	return y.after(done.add(early, 1))
}
