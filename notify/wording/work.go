package wording

import (
	"fmt"
	"math"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// WhyDue says which limit makes the task due and how far past or ahead it is,
// in the person's units; today is YYYY-MM-DD. Where a meter went back, it says that the
// distance cannot be told.
func (p Reader) WhyDue(i *due.Item, today string) string {
	untold := p.DatesIn(i.Untold)
	switch {
	case untold == "" || i.Limit == "time":
		why := p.whyLimit(i, today)
		if i.Worn != "" && !strings.Contains(why, i.Worn) {
			why = english.Sentences(why, english.Sentence(p.DatesIn(i.Worn)))
		}
		return english.Sentences(why, untold)
	case i.Stage == alarm.Due || i.Stage == alarm.Overdue: // by what was read before
		return english.Sentence(p.DatesIn(i.Why))
	case i.DueDate != "":
		return english.Sentences(untold, "By the calendar it is due on "+p.Date(i.DueDate))
	}
	return english.Sentence(untold)
}

func (p Reader) whyLimit(i *due.Item, today string) string {
	switch i.Limit {
	case alarm.NoHistory:
		return "No record of when this was last done."
	case "distance", "hours":
		if i.PastBy == nil || i.DueAt == nil && i.DueInAll == nil {
			break
		}
		at, past := p.dueAt(i), p.meter(math.Abs(*i.PastBy), i.Unit)
		if *i.PastBy < 0 && i.Likely != "" && i.Likely <= today && foreseen(i) {
			return fmt.Sprintf(alreadyPast, at, p.Date(i.Likely), meterNames[i.Unit])
		}
		if *i.PastBy < 0 {
			return fmt.Sprintf("%s to go until %s.", past, at)
		}
		if math.Abs(*i.PastBy) < leastPast[i.Unit] { // "0 mi past the limit" tells nobody anything
			return "Due at " + at + "."
		}
		return fmt.Sprintf("%s past the limit at %s.", past, at)
	case "time":
		n, ok := days(i.DueDate, today)
		if !ok {
			break
		}
		return p.whyDate(i.DueDate, n)
	}
	return english.Sentence(p.DatesIn(i.Why))
}

// dueAt is the meter value at which it is due: of the instrument in use and, where others
// were replaced, in all.
func (p Reader) dueAt(i *due.Item) string {
	switch {
	case i.DueInAll == nil:
		return p.meter(*i.DueAt, i.Unit)
	case i.DueAt == nil:
		return p.meter(*i.DueInAll, i.Unit) + " in all, before the instrument was replaced"
	}
	return p.meter(*i.DueAt, i.Unit) + " on the new instrument (" + p.meter(*i.DueInAll, i.Unit) + " in all)"
}

func (p Reader) whyDate(due string, past int) string {
	switch {
	case past > 0:
		return fmt.Sprintf("Was due on %s, %s ago.", p.Date(due), english.Counted(past, "day", "days"))
	case past == 0:
		return fmt.Sprintf("Due today, %s.", p.Date(due))
	}
	return fmt.Sprintf("Due on %s, in %s.", p.Date(due), english.Counted(-past, "day", "days"))
}

// DueNow says where a task stands that has just moved, in the person's units.
func (p Reader) DueNow(t *alarm.Transition) string {
	d := t.Due
	if d == nil {
		return english.Sentence(p.DatesIn(MessageOf(t)))
	}
	i := &due.Item{Limit: d.Limit, DueDate: d.Date, Early: d.Early, Likely: d.Likely, Late: d.Late, Stage: t.To, Why: MessageOf(t), PulledIn: d.PulledIn, Postponed: d.Postponed, Untold: d.Untold, Worn: d.Worn}
	i.DueAt, i.DueInAll, i.PastBy = based(d.At), based(d.InAll), based(d.Past)
	i.Unit = "m"
	if d.Past != nil && d.Past.Unit == "h" {
		i.Unit = "s"
	}
	return english.Sentences(p.WhyDue(i, d.On), p.Forecast(i, d.On), p.PulledIn(i), i.Postponed)
}

// based is a quantity in metres or seconds; nil where there is none.
func based(q *unit.Quantity) *float64 {
	if q == nil {
		return nil
	}
	v, _, err := q.Base()
	if err != nil {
		return nil
	}
	return &v
}

// leastPast is how far past a limit is worth saying, in metres or seconds.
var leastPast = map[string]float64{"m": 1000, "s": 1800}

var meterNames = map[string]string{"m": "odometer", "s": "hour meter"}

// foreseen reports whether a meter's limit lies ahead and has a likely date.
func foreseen(i *due.Item) bool {
	return i.Likely != "" && i.Stage != alarm.Due && i.Stage != alarm.Overdue && i.Limit != "time"
}

// Forecast says when a limit that lies ahead is likely to be reached; that it is likely
// to lie behind by now, whyDue says.
func (p Reader) Forecast(i *due.Item, today string) string {
	switch {
	case !foreseen(i) || i.Likely <= today:
		return ""
	case i.Early == "" || i.Late == "" || i.Early == i.Late:
		return fmt.Sprintf("Likely on %s.", p.Date(i.Likely))
	}
	return fmt.Sprintf("Likely on %s, between %s and %s.", p.Date(i.Likely), p.Date(i.Early), p.Date(i.Late))
}

// LastDone says when it was last done, or what stands for that.
func (p Reader) LastDone(i *due.Item) string {
	if i.Limit == alarm.NoHistory {
		return ""
	}
	if _, err := time.Parse(time.DateOnly, i.LastDone); err == nil {
		return "Last done " + p.Date(i.LastDone)
	}
	return p.DatesIn(i.LastDone)
}

// PulledIn names the alarms that asked for the work earlier than it would be due.
func (p Reader) PulledIn(i *due.Item) string {
	if len(i.PulledIn) == 0 {
		return ""
	}
	var all []string
	for _, a := range i.PulledIn {
		all = append(all, fmt.Sprintf("%q of %s", a.Rule, p.Date(a.On)))
	}
	return "Brought forward by the alarm " + english.Ended(english.List("and", all))
}

// days is the whole days from one YYYY-MM-DD to another.
func days(from, to string) (int, bool) {
	a, err1 := time.Parse(time.DateOnly, from)
	b, err2 := time.Parse(time.DateOnly, to)
	return int(b.Sub(a).Hours() / 24), err1 == nil && err2 == nil
}

// FirstDay is the first day on which a limit is reached, as far as is known.
func FirstDay(limit, date, likely string) string {
	switch {
	case limit == "time" || likely == "":
		return date
	case date == "":
		return likely
	}
	return min(date, likely)
}

// DueTitle is the title of a due list of a day, YYYY-MM-DD: "Due list, Friday 6 Jun 2031".
func (p Reader) DueTitle(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return "Due list, " + date
	}
	return "Due list, " + t.Format("Monday ") + p.Date(date)
}
