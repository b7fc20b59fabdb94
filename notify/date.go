package notify

import (
	"cmp"
	"time"

	"telltale/engine/alarm"
	"telltale/notify/page"
	"telltale/rules/english"
)

// dueOn is the day of a task for the person's calendar; ok is false where there
// is none, or it lies behind. Where a meter decides it is the likely day, or the
// calendar's if that comes first.
func (p reader) dueOn(n news) (d Date, ok bool) {
	t := n.Transition
	if !t.Task {
		return d, false
	}
	d = dateFor(p, vehicleName(n.about.Vehicle, n.Vehicle), t, t.Time)
	if t.Due == nil {
		d.Over, d.Day = true, t.Time.In(p.Zone).Format(time.DateOnly)
		d.Text = page.Clean(endOf(t), page.MaxText)
		return d, t.To == alarm.Normal
	}
	d.Day = firstDay(t.Due.Limit, t.Due.Date, t.Due.Likely)
	d.Text = page.Clean(english.Sentences(p.dueNow(t), english.Sentences(cautionsOf(t.Cautions, t.OwnCautions)...), standingNote), page.MaxText)
	return d, d.Day != "" && d.Day >= t.Due.On
}

// listedOn is the day of work on a list.
func (l *list) listedOn(e *line) (d Date, ok bool) {
	i := e.work
	if i == nil {
		return d, false
	}
	d = dateFor(l.p, cmp.Or(l.vehicles[i.Vehicle], i.Vehicle), &e.Transition, l.now)
	d.Day = firstDay(i.Limit, i.DueDate, i.Likely)
	d.Text = page.Clean(english.Sentences(l.p.whyDue(i, l.today), l.p.forecast(i, l.today), english.Sentences(cautionsOf(i.Cautions, i.OwnCautions)...), standingNote), page.MaxText)
	return d, d.Day != "" && d.Day >= l.today
}

func dateFor(p reader, vehicle string, t *alarm.Transition, said time.Time) Date {
	return Date{Key: key("due", t.Vehicle, t.Component, t.Rule, p.ID), Title: page.Clean(vehicle+inComponent(t.Component)+": "+titleOf(t), 200), Said: said}
}

// firstDay is the first day on which a limit is reached, as far as is known.
func firstDay(limit, date, likely string) string {
	switch {
	case limit == "time" || likely == "":
		return date
	case date == "":
		return likely
	}
	return min(date, likely)
}
