package people

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
)

// holidays are days on which no list comes and only what cannot wait is told, as spans of
// dates on a person's wall, each with its ends.
type holidays []span

// span is from one date to another, both included, as YYYY-MM-DD.
type span struct{ from, to string }

// longestHoliday bounds a span, so that a mistyped year is noticed.
const longestHoliday = 366 * 24 * time.Hour

// has reports whether the date is one of them.
func (h holidays) has(date string) bool {
	return slices.ContainsFunc(h, func(s span) bool { return s.from <= date && date <= s.to })
}

// holidays reads dates and spans of them: [2031-12-25, 2031-12-27 to 2032-01-02].
func (r *reader) holidays(n *yaml.Node) (out holidays) {
	for _, item := range r.Items(n, "holidays") {
		text, ok := r.Given(item, "holidays")
		if !ok {
			continue
		}
		first, last, ranged := strings.Cut(text, " to ")
		if !ranged {
			last = first
		}
		from, err1 := time.Parse(time.DateOnly, first)
		to, err2 := time.Parse(time.DateOnly, last)
		switch {
		case err1 != nil || err2 != nil:
			r.Fault(item, "write it like 2031-12-25, or 2031-12-27 to 2032-01-02", "holidays: %q is not a date", text)
		case to.Before(from):
			r.Fault(item, fmt.Sprintf("write %s to %s", last, first), "holidays: %q ends before it begins", text)
		case to.Sub(from) > longestHoliday:
			r.Fault(item, "is the year right?", "holidays: %q is longer than a year", text)
		default:
			out = append(out, span{first, last})
		}
	}
	return out
}

// holiday reports whether t is on one of the person's holidays, and when it ends.
func (p *Person) holiday(t time.Time) (ends time.Time, on bool) {
	local := t.In(p.Zone)
	for p.holidays.has(local.Format(time.DateOnly)) {
		on = true
		local = time.Date(local.Year(), local.Month(), local.Day()+1, 0, 0, 0, 0, p.Zone)
	}
	return local, on
}

// Skipped are the dates right before that of a list on which none came for holidays, the
// earliest first.
func (p *Person) Skipped(date string) (dates []string) {
	of, err := time.Parse(time.DateOnly, date)
	if err != nil || p.turn == nil || len(p.holidays) == 0 {
		return nil
	}
	// Whatever the schedule, its turn before lies within a year and a day.
	for day := of.AddDate(0, 0, -1); day.After(of.AddDate(-1, 0, -2)); day = day.AddDate(0, 0, -1) {
		if !p.turn.on(day) {
			continue
		}
		if !p.holidays.has(day.Format(time.DateOnly)) {
			break
		}
		dates = append(dates, day.Format(time.DateOnly))
	}
	slices.Reverse(dates)
	return dates
}
