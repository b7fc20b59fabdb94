package notify

import (
	"fmt"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
)

// Paper is a due list as a page of its own, to be printed and filled in: what says stop
// first, then the work by what to do first, each with a box to tick and room for the
// meter and who did it; in the units, dates and spelling of a person. today is
// YYYY-MM-DD; heading names what the list is of, "" for all.
func Paper(who *people.Person, today, heading string, work []due.Item, alarms []alarm.Listed) (html string, fault error) {
	as := *who
	as.Form = people.ForWorkshop
	l := &list{p: reader{&as}, today: today, paper: true, vehicles: map[string]string{}}
	l.now, _ = time.Parse(time.DateOnly, today)
	for i := range alarms {
		if s := &alarms[i]; !s.Task && s.To != alarm.Normal && s.Standing != alarm.Returned && s.Standing != alarm.OutOfService {
			l.put(&line{Listed: *s}, s.Name)
		}
	}
	l.sortLines()
	for i := range work {
		l.put(lineOf(&work[i]), work[i].Name)
	}
	pg := &sheet{page.Page{Title: l.title(), Lead: l.counts()}}
	if heading != "" {
		pg.Title += ", " + heading
	}
	l.workshopPage(pg)
	pg.Note(l.shelvedWords(), l.p.ours(standingNote))
	_, html, fault = pg.Write()
	return strings.TrimSpace(html) + "\n", fault
}

// put puts a line on the list, or counts it as put aside.
func (l *list) put(e *line, name string) {
	if e.Standing == alarm.Shelved || !e.ShelvedUntil.IsZero() {
		l.shelved++
		return
	}
	l.vehicles[e.Vehicle] = name
	e.Transition = *l.p.spelled(&e.Transition, name)
	l.lines = append(l.lines, e)
}

// shelvedWords says how many lines are not shown; "" for none.
func (l *list) shelvedWords() string {
	if l.shelved == 0 {
		return ""
	}
	return fmt.Sprintf(shelvedNote, english.Counted(l.shelved, "line", "lines"))
}
