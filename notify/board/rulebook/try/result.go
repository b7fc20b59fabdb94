package try

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/whatif"
	"telltale/notify/board/frame"
	"telltale/rules/english"
)

// mostShown is how many differences are on the page.
const mostShown = 100

// result is the page by which a change is discussed.
type result struct {
	ID, File, Over, Since string
	Days                  string
	Cut                   string // why not all vehicles were looked at; "" where all were
	Of, At                int
	Checked               *checked
	Changes               []string
	Rules                 []ruleLine
	Same                  int // rules and tasks that do the same
	Due                   []dueLine
	Rows                  []differenceLine
	More                  int
}

// ruleLine is what a rule or task did by both books.
type ruleLine struct {
	Rule     string
	Old, New int
	Differs  string
}

// dueLine is a task that would be due at once, or no longer.
type dueLine struct {
	Task     string
	From, To *frame.Badge // nil: nothing is due
	On       string
}

// differenceLine is one alarm on which the books do not agree.
type differenceLine struct {
	Title, Path, Component, Rule, What string
	Old, New                           *moment
	Message                            string
}

// moment is when an alarm came, and how far it went.
type moment struct {
	frame.Badge
	Day string
}

// kinds are the differences, in the order and words in which they are told.
var kinds = []struct{ kind, row, sum string }{
	{whatif.OnlyNew, "would have come", "would have come"},
	{whatif.OnlyOld, "would not have come", "would not have come"},
	{whatif.Earlier, "earlier", "would have come earlier"},
	{whatif.Later, "later", "would have come later"},
	{whatif.Worse, "worse", "would have gone further"},
	{whatif.Milder, "milder", "would not have gone as far"},
}

// result is the page, once it has ended.
func (r *run) result(who frame.Viewer) (*frame.Page, error) {
	t := r.trial
	data := &result{ID: r.id, File: r.file, Changes: r.changes, Over: r.over, Since: who.Day(r.from), Days: r.days, Of: r.of, At: r.looked(), Checked: r.checked, More: t.More}
	switch {
	case errors.Is(r.err, errLong):
		data.Cut = fmt.Sprintf("The time was up after %d seconds", int(atMost.Seconds()))
	case errors.Is(r.err, errLeft):
		data.Cut = "Nobody waited for it"
	case r.err != nil:
		data.Cut = "It was stopped"
	}
	if data.Cut != "" {
		data.Cut = fmt.Sprintf("%s: %d of %d vehicles were looked at, and what follows is of these alone.", data.Cut, data.At, data.Of)
	}
	data.rules(t)
	data.due(t)
	data.differences(t, who, r.titles)
	p := &frame.Page{Section: frame.More, Title: "What would change", About: r.file, Lead: data.lead(t), Up: frame.Link{Words: "Try a change", Path: "/rules/try?again=" + r.id}}
	var err error
	p.Body, err = templates.Body("result", data)
	return p, err
}

// lead sums it up.
func (d *result) lead(t *whatif.Trial) string {
	total := map[string]int{}
	for _, n := range t.Rules() {
		for kind, c := range n.Differences {
			total[kind] += c
		}
	}
	var parts []string
	for _, k := range kinds {
		if n := total[k.kind]; n > 0 {
			count := fmt.Sprint(n)
			if parts == nil {
				count = english.Counted(n, "alarm", "alarms")
			}
			parts = append(parts, count+" "+k.sum)
		}
	}
	alarms := "no alarm would have been another"
	if parts != nil {
		alarms = english.List("and", parts)
	}
	return english.Sentences(english.Capital(d.Over)+", the last "+d.Days+" days: "+alarms, d.atOnce(t))
}

// atOnce says how much work would be due.
func (d *result) atOnce(t *whatif.Trial) string {
	tasks := map[string]bool{}
	most := 0
	for _, c := range t.Due() {
		if isDue(c.To) && !isDue(c.From) {
			tasks[c.Task] = true
			most += c.Vehicles
		}
	}
	if len(tasks) == 0 {
		return "no task would be due at once"
	}
	return fmt.Sprintf("%s would be due at once, %s in all", english.Counted(len(tasks), "task", "tasks"), english.Counted(most, "job", "jobs"))
}

func isDue(s alarm.Stage) bool { return s == alarm.Due || s == alarm.Overdue }

func (d *result) rules(t *whatif.Trial) {
	for _, n := range t.Rules() {
		var parts []string
		for _, k := range kinds {
			if c := n.Differences[k.kind]; c > 0 {
				parts = append(parts, fmt.Sprintf("%d %s", c, k.row))
			}
		}
		if parts == nil && n.Raised[whatif.Old] == n.Raised[whatif.New] {
			d.Same++
			continue
		}
		d.Rules = append(d.Rules, ruleLine{n.Rule, n.Raised[whatif.Old], n.Raised[whatif.New], strings.Join(parts, ", ")})
	}
}

func (d *result) due(t *whatif.Trial) {
	for _, c := range t.Due() {
		d.Due = append(d.Due, dueLine{c.Task, badge(c.From), badge(c.To), english.Counted(c.Vehicles, "vehicle", "vehicles")})
	}
}

func badge(s alarm.Stage) *frame.Badge {
	if s == "" || s == alarm.Normal {
		return nil
	}
	b := frame.BadgeOf(s)
	return &b
}

// differences are those by rule, then by vehicle.
func (d *result) differences(t *whatif.Trial, who frame.Viewer, titles map[string]string) {
	all := slices.Clone(t.Differences)
	slices.SortStableFunc(all, func(a, b whatif.Difference) int {
		return strings.Compare(a.Rule+"\x00"+titles[a.Vehicle], b.Rule+"\x00"+titles[b.Vehicle])
	})
	at := func(when time.Time, stage alarm.Stage) *moment {
		if when.IsZero() {
			return nil
		}
		return &moment{frame.BadgeOf(stage), who.Day(when)}
	}
	for _, x := range all[:min(len(all), mostShown)] {
		line := differenceLine{Title: titles[x.Vehicle], Path: frame.Path("v", x.Vehicle), Component: x.Component, Rule: x.Rule, Old: at(x.OldRaised, x.OldStage), New: at(x.NewRaised, x.NewStage)}
		for _, k := range kinds {
			if k.kind == x.Difference {
				line.What = k.row
			}
		}
		if !strings.EqualFold(x.Message, x.Rule) {
			line.Message = x.Message
		}
		d.Rows = append(d.Rows, line)
	}
	d.More += max(0, len(all)-mostShown)
}
