package lists

import (
	"context"
	"net/mail"
	"strings"

	"telltale/engine/due"
	"telltale/notify"
	"telltale/notify/board/frame"
	"telltale/notify/calendar"
	"telltale/notify/page"
	"telltale/notify/wording"
)

// dueCalendar is the due list as days for a calendar: those that mails have, under the same
// identities, so that a later word moves them.
func (s site) dueCalendar(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	lines, m, err := s.wholeDue(ctx, r)
	if err != nil {
		return nil, err
	}
	var dates []notify.Date
	for i := range lines {
		if it := lines[i].Due; it != nil && len(dates) < paperLines {
			if d, ok := notify.DateOf(m.Person, it, m.today, r.Now); ok {
				dates = append(dates, d)
			}
		}
	}
	body, err := calendar.Write(s.organiser(), dates)
	return &frame.Page{File: &frame.File{Type: "text/calendar; charset=utf-8; method=PUBLISH", Name: "due-" + m.today + ".ics", Body: body}}, err
}

// organiser is the address from which mails come.
func (s site) organiser() string {
	if from, err := mail.ParseAddress(s.From); err == nil {
		return from.Address
	}
	return "telltale@localhost"
}

func firstOn(it *due.Item) string { return wording.FirstDay(it.Limit, it.DueDate, it.Likely) }

// needsOf is what to have ready in one text.
func needsOf(lines []page.Line) string {
	var all []string
	for _, l := range lines {
		all = append(all, l.Text)
	}
	return strings.Join(all, "; ")
}
