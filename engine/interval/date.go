package interval

import (
	"fmt"
	"time"
)

// Date is a day of the calendar, counted from 1 January of the year 1, which is
// 1; zero is no date. Days add and compare as numbers.
type Date int32

const (
	unixDay    = 719163 // 1 January 1970
	daySeconds = 86400
)

// DateAt is a year, month and day, normalised as time.Date does.
func DateAt(year int, month time.Month, day int) Date {
	return fromUTC(time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
}

// DateOf is the local date of a moment.
func DateOf(t time.Time, zone *time.Location) Date {
	_, offset := t.In(zone).Zone()
	return Date((t.Unix() + int64(offset) + unixDay*daySeconds) / daySeconds)
}

// ParseDate reads YYYY-MM-DD.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a date like 2031-02-28", s)
	}
	if t.Year() == 0 {
		return 0, fmt.Errorf("%q: there is no year 0", s)
	}
	return fromUTC(t), nil
}

func fromUTC(t time.Time) Date { return Date(t.Unix()/daySeconds + unixDay) }

func (d Date) utc() time.Time { return time.Unix((int64(d)-unixDay)*daySeconds, 0).UTC() }

// IsZero reports whether it is no date.
func (d Date) IsZero() bool { return d == 0 }

// String is the date as YYYY-MM-DD; empty for none.
func (d Date) String() string {
	if d == 0 {
		return ""
	}
	return d.utc().Format(time.DateOnly)
}

// Start is the first moment of the date in the zone, or of the next one where the
// zone skipped the date. It is not always midnight: clocks may have been put
// forward over it, or back to it.
func (d Date) Start(zone *time.Location) time.Time {
	y, m, day := d.utc().Date()
	t := time.Date(y, m, day, 0, 0, 0, 0, zone)
	from, to := t.ZoneBounds()
	if DateOf(t, zone) < d {
		return to
	}
	if !from.IsZero() {
		_, offset := from.Zone()
		_, before := from.Add(-1).Zone()
		if again := t.Add(time.Duration(offset-before) * time.Second); again.Before(from) && DateOf(again, zone) == d {
			return again
		}
	}
	return t
}

// Compare is negative, zero or positive as d is before, at or after e.
func (d Date) Compare(e Date) int { return int(d) - int(e) }

// Sub is the number of days from e to d.
func (d Date) Sub(e Date) int { return int(d) - int(e) }

// AddDays is the date n days on.
func (d Date) AddDays(n int) Date { return d + Date(n) }

// AddMonths is the same day n months on, or the last of that month where it has
// no such day: 31 January and one month is 28 February, or 29 in a leap year. A
// series must be reckoned from its anchor, not from the date before, or it would
// stay at the shortest month's end.
func (d Date) AddMonths(n int) Date {
	if n == 0 {
		return d
	}
	y, m, day := d.utc().Date()
	m += time.Month(n)
	first, next := DateAt(y, m, 1), DateAt(y, m+1, 1)
	return first + min(Date(day), next-first) - 1
}

// add is the date k times the time of the limits on, months before days.
func (d Date) add(l Limits, k int) Date { return d.AddMonths(k * l.Months).AddDays(k * l.Days) }

// MarshalText writes the date as String does.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = 0
		return nil
	}
	var err error
	*d, err = ParseDate(string(b))
	return err
}
