package notify

import (
	"fmt"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/page"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Subjects begin with the stage, so that an inbox shows what stops a vehicle and what
// can wait; of several things the worst stands first, with how many more there are.

// maxSubject bounds a subject, in runes.
const maxSubject = 120

// subjectOf is the subject of a message about one vehicle: "Stop: Bus 7 transmission,
// coolant in the fluid, and 2 more".
func subjectOf(mine []news) string {
	return subjectLine(headLine(mine[0].vehicle(), mine[0].Transition), len(mine)-1, "")
}

// subjectOfMany is that of a summary; more are not among all, and vehicles is 0 where
// nobody knows how many.
func subjectOfMany(all []news, more, vehicles int) string {
	if len(all) == 0 {
		return summaryTitle(more, vehicles)
	}
	on := ""
	if vehicles > 1 {
		on = " on " + english.Counted(vehicles, "vehicle", "vehicles")
	}
	return subjectLine(headLine(all[0].vehicle(), all[0].Transition), len(all)-1+more, on)
}

// headLine is the stage and what it is about.
func headLine(vehicle string, t *alarm.Transition) string {
	return badgeOf(t) + ": " + strings.TrimSpace(vehicle+" "+t.Component) + ", " + english.Brief(wording.TitleOf(t))
}

func subjectLine(head string, more int, end string) string {
	if more > 0 {
		end = ", and " + unit.Grouped(float64(more)) + " more" + end
	}
	return page.Clean(head, maxSubject-len(end)) + end
}

// subject is that of a list, by the worst that is on it: "Overdue: Bus 7, Annual test,
// and 6 more (list of 3 Feb 2031)".
func (l *list) subject() string {
	worst := l.worst()
	for _, e := range l.lines {
		if e.To == worst && worst != alarm.Normal {
			return subjectLine(headLine(l.vehicles[e.Vehicle], &e.Transition), len(l.lines)-1, fmt.Sprintf(ofList, l.p.Date(l.today)))
		}
	}
	return page.Clean(l.title(), maxSubject)
}
