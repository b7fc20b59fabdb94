package vehicle

import (
	"fmt"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/wording"
)

// work is a task or a follow-up.
type work struct {
	frame.Badge
	What   string
	Strong string
	When   string // why and when it is due, and when it was last done
	Lines  []page.Line
	Why    string // an address, as are the others
	Do     []frame.Link
}

// works are all the work that is kept: what is to be done now or soon, and what comes later.
func (v *told) works() (now, later []work) {
	for i := range v.Tasks {
		w := v.work(&v.Tasks[i])
		if v.Tasks[i].Stage == alarm.Normal {
			later = append(later, w)
		} else {
			now = append(now, w)
		}
	}
	return now, later
}

func (v *told) work(i *due.Item) work {
	said := v.by.SaidOf(i)
	it := v.by.Work(said, v.Today)
	w := work{Badge: frame.BadgeOf(i.Stage), What: clean(it.What), Strong: clean(it.Strong), When: clean(it.Lines[0].Text), Why: v.whyPath(i.Task, i.Component)}
	for _, l := range it.Lines[1:] {
		w.Lines = append(w.Lines, page.Line{Text: clean(l.Text)})
	}
	var ready []string
	for _, l := range v.by.Ready([]*due.Item{said}) {
		ready = append(ready, clean(l.Text))
	}
	if ready != nil {
		w.Lines = append(w.Lines, page.Line{Label: wording.HeadReady, Text: strings.Join(ready, ", ")})
	}
	if i.Stage == alarm.Normal {
		return w
	}
	w.Do = v.offered(rights.Work, "Enter it", v.path("work")+query("task", i.Task, "component", i.Component))
	answer := func(words, answer, of string) {
		w.Do = append(w.Do, v.answered(words, answer, of, i.Task, i.Component, i.Stage)...)
	}
	a := v.alarmOf(i)
	if a.Standing == alarm.Unacknowledged {
		answer("Acknowledge", "acknowledge", "rule")
	}
	switch {
	case i.Shelved:
		w.Lines = append(w.Lines, page.Line{Text: fmt.Sprintf(wordAside, v.by.Day(a.ShelvedUntil.In(v.where)))})
		answer("Bring back", "unshelve", "rule")
	case !i.Statutory:
		answer("Postpone", "postpone", "task")
	}
	return w
}

// alarmOf is how the work stands; empty where it does not.
func (v *told) alarmOf(i *due.Item) (a alarm.Listed) {
	for k := range v.Alarms {
		if a := v.Alarms[k]; a.Task && a.Rule == i.Task && a.Component == i.Component {
			return a
		}
	}
	return a
}

// mind is what to mind in all that stands and is due, each caution once.
func (v *told) mind() (out []page.Line) {
	m := wording.Minds{Reader: v.by}
	for i := range v.Alarms {
		if a := &v.Alarms[i]; a.To != alarm.Normal && !a.Task {
			m.Add(a.Cautions, a.OwnCautions)
		}
	}
	for i := range v.Tasks {
		if v.Tasks[i].Stage != alarm.Normal {
			m.Add(v.Tasks[i].Cautions, v.Tasks[i].OwnCautions)
		}
	}
	for _, l := range m.All() {
		out = append(out, page.Line{Label: clean(l.Label), Text: clean(l.Text)})
	}
	return out
}
