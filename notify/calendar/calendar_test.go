package calendar

import (
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"

	"telltale/notify"
	"telltale/notify/page"
	"telltale/testdata/hostile"
)

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

func oil() notify.Date {
	return notify.Date{Key: "due-4a", Day: "2031-05-13", Title: "Mobile library: Change the engine oil and filter",
		Text: "Due on 13 May 2031, in 21 days; mind: hot fluid.", Said: at("2031-04-22T06:00:00Z")}
}

// The lines that RFC 5545 asks for, with an end of the day after (section 3.6.1: an
// all-day entry ends on the day that it does not include), and RFC 5546 section
// 3.2.1 for PUBLISH: ORGANIZER, DTSTAMP, DTSTART, SUMMARY, UID, and SEQUENCE where
// it is greater than 0.
func TestWrite(t *testing.T) {
	got, err := Write("telltale@larkfell.example", []notify.Date{oil()})
	want := strings.ReplaceAll(`BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Telltale//EN
METHOD:PUBLISH
CALSCALE:GREGORIAN
BEGIN:VEVENT
UID:due-4a@larkfell.example
DTSTAMP:20310422T060000Z
LAST-MODIFIED:20310422T060000Z
SEQUENCE:5946120
DTSTART;VALUE=DATE:20310513
DTEND;VALUE=DATE:20310514
SUMMARY:Mobile library: Change the engine oil and filter
DESCRIPTION:Due on 13 May 2031\, in 21 days\; mind: hot fluid.
TRANSP:TRANSPARENT
ORGANIZER:mailto:telltale@larkfell.example
STATUS:CONFIRMED
END:VEVENT
END:VCALENDAR
`, "\n", "\r\n")
	if err != nil || string(got) != want {
		t.Errorf("%v: got\n%s\nwant\n%s", err, got, want)
	}
	if _, err := Write("a@b.example", []notify.Date{{Key: "x", Day: "soon", Title: "Oil"}}); err == nil || err.Error() != `writing the date of "Oil": "soon" is not a date` {
		t.Errorf("got %v", err)
	}
}

// A date that moved has the same identity and a greater revision; work that is over
// is cancelled.
func TestMoved(t *testing.T) {
	moved, over := oil(), oil()
	moved.Day, moved.Said = "2031-06-02", at("2031-05-14T17:30:00Z")
	over.Over, over.Said = true, at("2031-06-03T10:41:00Z")
	sequence := -1
	for _, d := range []notify.Date{oil(), moved, over} {
		e := parsed(t, d)
		var n int
		for _, p := range e.Properties {
			if p.IANAToken == "SEQUENCE" {
				for _, c := range p.Value {
					n = 10*n + int(c-'0')
				}
			}
		}
		if e.Id() != "due-4a@larkfell.example" || n <= sequence {
			t.Errorf("%s revision %d after %d", e.Id(), n, sequence)
		}
		sequence = n
		start, err := e.GetAllDayStartAt()
		if err != nil || start.Format(time.DateOnly) != d.Day {
			t.Errorf("starts %v (%v), want %s", start, err, d.Day)
		}
		want := map[bool]string{false: "CONFIRMED", true: "CANCELLED"}[d.Over]
		if got := e.GetProperty(ics.ComponentPropertyStatus).Value; got != want {
			t.Errorf("status %s, want %s", got, want)
		}
	}
}

func parsed(t *testing.T, d notify.Date) *ics.VEvent {
	t.Helper()
	b, err := Write("telltale@larkfell.example", []notify.Date{d})
	if err != nil {
		t.Fatal(err)
	}
	checkLines(t, d.Title, b)
	cal, err := ics.ParseCalendar(strings.NewReader(string(b)))
	if err != nil || len(cal.Events()) != 1 {
		t.Fatalf("%.30q: %v, %d entries in\n%s", d.Title, err, len(cal.Events()), b)
	}
	return cal.Events()[0]
}

// checkLines: RFC 5545 section 3.1, lines of at most 75 octets that end in CRLF, a
// character never torn apart.
func checkLines(t *testing.T, of string, b []byte) {
	t.Helper()
	for _, l := range strings.SplitAfter(string(b), "\n") {
		body := strings.TrimSuffix(l, "\r\n")
		if l != "" && body == l || len(body) > 75 || strings.ContainsAny(body, "\r\n\x00") || !utf8.ValidString(l) {
			t.Errorf("%.30q: the line %q", of, l)
		}
	}
}

// What nobody should write into a name gives one entry with the properties that it
// always has, in lines as they must be.
func TestHostileNames(t *testing.T) {
	plain := len(parsed(t, oil()).Properties)
	for _, h := range hostile.Text {
		d := oil()
		d.Title, d.Text = h, h
		e := parsed(t, d)
		if len(e.Properties) != plain || len(e.Components) != 0 {
			t.Errorf("%.30q: %d properties and %d parts, want %d and none", h, len(e.Properties), len(e.Components), plain)
		}
		for _, p := range []ics.ComponentProperty{ics.ComponentPropertySummary, ics.ComponentPropertyDescription} {
			got := e.GetProperty(p).Value
			if strings.IndexFunc(got, func(r rune) bool { return r != '\n' && unicode.IsControl(r) || unicode.Is(unicode.Cf, r) }) >= 0 || len(got) > 4*page.MaxText+10 {
				t.Errorf("%.30q: %.80q", h, got)
			}
		}
	}
}
