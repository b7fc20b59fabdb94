// Package calendar writes due dates as an iCalendar object (RFC 5545) that a
// calendar takes in when a mail with it is opened: an all-day entry each, under an
// identity that stays with the piece of work, so that a later mail moves the entry
// and does not add another.
package calendar

import (
	"fmt"
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"

	"telltale/notify"
	"telltale/notify/page"
)

// began is where revisions are counted from. A later word about the same work has
// a greater SEQUENCE, and what was written once is written alike again.
var began = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)

// Write makes one object of the dates, published by the address organiser. Lines
// are folded at 75 octets and end in CRLF.
func Write(organiser string, dates []notify.Date) ([]byte, error) {
	_, domain, _ := strings.Cut(organiser, "@")
	cal := ics.NewCalendar()
	cal.SetProductId("-//Telltale//EN")
	cal.SetMethod(ics.MethodPublish)
	cal.SetCalscale("GREGORIAN")
	for _, d := range dates {
		day, err := time.Parse(time.DateOnly, d.Day)
		if err != nil {
			return nil, fmt.Errorf("writing the date of %q: %q is not a date", d.Title, d.Day)
		}
		e := cal.AddEvent(d.Key + "@" + domain)
		e.SetDtStampTime(d.Said.UTC())
		e.SetModifiedAt(d.Said.UTC())
		e.SetSequence(max(0, int(d.Said.Sub(began)/time.Minute)))
		e.SetAllDayStartAt(day)
		e.SetAllDayEndAt(day.AddDate(0, 0, 1))
		e.SetSummary(text(d.Title))
		e.SetDescription(text(d.Text))
		e.SetTimeTransparency(ics.TransparencyTransparent)
		e.SetOrganizer("mailto:" + organiser)
		e.SetStatus(ics.ObjectStatusConfirmed)
		if d.Over {
			e.SetStatus(ics.ObjectStatusCancelled)
		}
	}
	var b strings.Builder
	if err := cal.SerializeTo(&b, ics.WithNewLineWindows); err != nil {
		return nil, fmt.Errorf("writing a calendar: %w", err)
	}
	return []byte(b.String()), nil
}

// text takes out what the library passes on as it is: control characters, a lone
// carriage return, and bytes that are not UTF-8.
func text(s string) string {
	s = strings.ToValidUTF8(strings.ReplaceAll(s, "\r\n", "\n"), "\uFFFD")
	s = strings.Map(func(r rune) rune {
		if r != '\n' && unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return -1
		}
		return r
	}, s)
	if r := []rune(s); len(r) > page.MaxText {
		s = string(r[:page.MaxText]) + "…"
	}
	return s
}
